"""What an event does to the state, row by row of the table in core/night/table.py. Pure functions, one idea each.

An action takes (state, event) and returns (state, effects); a `Refused` among the effects means that nothing changed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from statistics import median_low
from typing import Any, TypeVar

from polewright.core.axis_reasons import FramesApart
from polewright.core.night.drift_watch import anew, shifted_axis, shifted_reading
from polewright.core.night.effects import Effect, EstimateAxis, FollowAxis, Objection, Refused, StartFollowing
from polewright.core.night.events import (
    AxisMeasured,
    AxisRefused,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    LeadSwitched,
    TargetChanged,
    Ticked,
    ToleranceChanged,
    TrackingSwitched,
)
from polewright.core.night.rest import Rest, shifted_rest
from polewright.core.night.states import (
    Capture,
    Handling,
    Running,
    Stage,
    Trouble,
    Waiting,
)
from polewright.core.night.turning.blocked import PATIENT_TURN_S, struck
from polewright.core.night.turning.places import answers, keep_frame, places, taken_in_motion
from polewright.core.plan.tonight import ToleranceOrigin
from polewright.core.unsolved import LIKE_CLOUDS, SMEARED, trouble_of

Outcome = tuple[Running, tuple[Effect, ...]]
Action = Callable[[Running, Any], Outcome]
TWIN_SHARE = 0.15  # of the time between exposures: two files that come closer belong to one (chosen)
FULL_SHARE = 0.5  # of the stars of the last solved frame: as many objects are streaks of stars, no dark sky (chosen)
RHYTHM_GAPS = 5  # between frames: two late ones, or two at once, change nothing, and three show a new rhythm (chosen)
S = TypeVar("S", Waiting, Running)


def nothing(state: S, event: object) -> tuple[S, tuple[Effect, ...]]:
    """Only the stage changes."""
    return state, ()


# frames


def see_frame(state: S, event: FrameSolved) -> tuple[S, tuple[Effect, ...]]:
    """A frame was solved: the sky is clear. Nothing is measured from it in this stage."""
    return (
        replace(
            arrived(state, event),
            last_frame=event.frame,
            last_frame_s=state.now_s,
            frames_used=state.frames_used + 1,
            trouble=None,
        ),
        (),
    )


def arrived(state: S, event: FrameSolved | FrameUnsolved) -> S:
    """A frame has come, usable or not. How often they come is the median of the last gaps between their files:
    neither a burst of files that lay there already nor a pause of the camera hides it, nor a second file of each
    exposure."""
    landed_s = state.now_s if event.landed_s is None else event.landed_s
    seen = replace(state, arrived_s=state.now_s, landed_s=landed_s)
    if state.landed_s is None:
        return seen
    gaps = (*state.gaps_s, landed_s - state.landed_s)[-RHYTHM_GAPS:]
    return replace(seen, gaps_s=gaps, interval_s=_rhythm_s(gaps))


def tick(state: S, event: Ticked) -> tuple[S, tuple[Effect, ...]]:
    """Time passes, perhaps over a frame that takes long to measure."""
    return replace(state, measuring=event.measuring), ()


def _rhythm_s(gaps_s: tuple[float, ...]) -> float:
    """The median gap, s; far shorter than the second longest are those between the files of one exposure."""
    usual_s = sorted(gaps_s)[-2:][0]
    return median_low(gap for gap in gaps_s if gap >= TWIN_SHARE * usual_s)


def note_trouble(state: S, event: FrameUnsolved) -> tuple[S, tuple[Effect, ...]]:
    """Counts frames that could not be used, one after the other."""
    before, seen = state.trouble, arrived(state, event)
    count, since_s = (before.count + 1, before.since_s) if before else (1, seen.shown_s)
    cause = trouble_of(event.why)
    known = FULL_SHARE * state.last_frame.stars_matched if state.last_frame else math.inf
    starless = (before.starless if before else 0) + (cause in LIKE_CLOUDS and event.stars_detected < known)
    smeared = cause in SMEARED or (before is not None and before.smeared)
    trouble = Trouble(event.why, count, since_s, starless, smeared, before is not None and before.dark)
    dark = trouble.dark or (trouble.mostly_dark and seen.shown_s - since_s >= PATIENT_TURN_S)
    trouble = replace(trouble, dark=dark)
    return replace(seen, trouble=trouble, frames_unsolved=state.frames_unsolved + 1), ()


def keep_turn_frame(state: Running, event: FrameSolved) -> Outcome:
    """Keeps a frame of the turn; asks for the axis once there are two places."""
    before, (state, _) = state.last_frame, see_frame(struck(state, event.frame), event)
    kept = keep_frame(state.turn, event.frame)
    streak = state.plan.at_rest and taken_in_motion(state.turn, event.frame, before)
    if kept is state.turn or streak:
        return state, ()
    return state.with_turn(kept), estimate(state, kept)


def follow_frame(state: Running, event: FrameSolved) -> Outcome:
    """Asks for a reading of the axis off this frame."""
    seen, _ = see_frame(state, event)
    return seen, (FollowAxis(event.frame),)


def estimate(state: Running, capture: Capture) -> tuple[Effect, ...]:
    """Asks for the axis, once there are two places."""
    if len(places(capture)) < 2:
        return ()
    return (EstimateAxis(capture.frames, state.plan.target),)


# the axis


def take_axis(state: Running, event: AxisMeasured) -> Outcome:
    """The axis of the turn, as known so far."""
    if not answers(state.turn, event.axis):
        return state, (Refused(Objection.AXIS_SET_ASIDE),)
    return state.with_turn(replace(state.turn, axis=event.axis, refusal=None, combined=False)), ()


def note_refusal(state: Running, event: AxisRefused) -> Outcome:
    """The frames do not support an axis yet; frames of several captures support none, nor can screws be followed
    from them."""
    apart = isinstance(event.why, FramesApart) and state.stage in (Stage.CAPTURE, Stage.PROOF)
    axis = None if apart else state.turn.axis
    return state.with_turn(replace(state.turn, refusal=event.why, axis=axis)), ()


def begin_following(state: Running, event: object) -> Outcome:
    """Follows the axis from the capture's frames; readings begin anew."""
    effect = _start_following(state)
    return replace(state, rest=Rest(), handling=_hands_off(state.handling), reading_warnings=()), (effect,)


def _start_following(state: Running) -> StartFollowing:
    axis = state.capture.axis if state.capture.by_drift else None
    return StartFollowing(state.capture.frames, state.plan.target, axis)


def with_shaking(state: Running, turn: Capture, more_rad2: tuple[float, ...] = ()) -> Running:
    """Remembers how much a complete turn scattered: a mount that wobbles does so the next time, whether or not that
    turn happens to show it."""
    axis = turn.axis
    if axis is None or axis.budget is None:
        return state
    own = axis.budget.by_chance
    return replace(state, shaken_rad2=(*state.shaken_rad2, 0.5 * (own[0][0] + own[1][1]), *more_rad2))


# stages


def drop_capture(state: Running, event: object) -> Outcome:
    """Begins the turn about the RA axis anew, or the drift if that was the way; screws and rig stay known."""
    drifting = state.capture.by_drift or (state.stage is Stage.CAPTURE and state.drift is not None)
    return (
        replace(
            state,
            drift=anew(state.drift) if drifting else None,
            capture=Capture(),
            rest=Rest(),
            proof=Capture(),
            proved=False,
            accepted=False,
            watching=None,
            lesson=None,
            handling=_hands_off(state.handling),
            locks=replace(state.locks, ready=None, before=None),
            refuted=False,
            doubted=False,
            reading_warnings=(),
            second_sky=None,
        ),
        (),
    )


def bump(state: Running, event: object) -> Outcome:
    """The tripod was moved: what was measured is gone, and it settles anew."""
    state, effects = drop_capture(state, event)
    drift = None if state.drift is None else replace(state.drift, stood=False)
    return replace(state, drift=drift, set_down_s=state.now_s), effects


def drop_proof(state: Running, event: object) -> Outcome:
    """Begins the proof (anew), or leaves it. Who cannot turn the RA axis proves by drift as well."""
    drift = anew(state.drift) if state.capture.by_drift else None
    return (
        replace(
            state,
            proof=Capture(),
            drift=drift,
            proved=False,
            accepted=False,
            watching=None,
            lesson=None,
            second_sky=None,
        ),
        (),
    )


# settings and the world


def change_target(state: Running, event: TargetChanged) -> Outcome:
    """Another pole: the frames stay, everything measured from them is computed anew; the plan's tolerance follows."""
    raised = event.pole_altitude_rad - state.plan.pole_altitude_rad
    in_proof = state.stage is Stage.PROOF  # then the way back leads to the axis as it was followed, not as captured
    axis = shifted_axis(state.capture.axis, raised) if state.capture.by_drift or in_proof else None
    plan = replace(state.plan, target=event.target, pole_altitude_rad=event.pole_altitude_rad)
    if plan.imaging is not None and plan.origin is ToleranceOrigin.PLAN:
        plan = replace(plan, tolerance_rad=plan.imaging.tolerance_rad(event.target))
    state = replace(
        state,
        plan=plan,
        capture=replace(state.capture, axis=axis),
        drift=shifted_reading(state.drift, raised),
        proof=replace(state.proof, axis=None),
        proved=False,
        rest=shifted_rest(state.rest, raised) if in_proof else Rest(),
        handling=_hands_off(state.handling),
        locks=replace(state.locks, ready=None, before=None),
    )
    if axis is not None and in_proof:
        return state, (_start_following(state), *estimate(state, state.proof))
    if axis is not None and state.stage in (Stage.ROUGH, Stage.FINE):
        return begin_following(state, event)
    return state, estimate(state, state.capture) + estimate(state, state.proof)


def change_tolerance(state: Running, event: ToleranceChanged) -> Outcome:
    """Another tolerance for tonight."""
    if event.imaging is None:
        plan = replace(state.plan, tolerance_rad=event.tolerance_rad, origin=ToleranceOrigin.HAND)
    else:
        plan = replace(
            state.plan,
            tolerance_rad=event.tolerance_rad,
            origin=ToleranceOrigin.PLAN,
            imaging=event.imaging,
        )
    return replace(state, plan=plan, proved=False), ()


def switch_tracking(state: S, event: TrackingSwitched) -> tuple[S, tuple[Effect, ...]]:
    """The clock drive was switched; the frames will show it too."""
    return replace(state, tracking="on" if event.on else "off"), ()


def switch_lead(state: Running, event: LeadSwitched) -> Outcome:
    """Turns told in numbers, or led by the eye; what has moved so far belongs to no turn in progress."""
    handling = replace(state.handling, walk=None)
    return replace(state, plan=replace(state.plan, told=event.told), handling=handling), ()


def pause(state: S, event: object) -> tuple[S, tuple[Effect, ...]]:
    return replace(state, paused=True), ()


def resume(state: S, event: object) -> tuple[S, tuple[Effect, ...]]:
    return replace(state, paused=False), ()


def lose_folder(state: S, event: FolderLost) -> tuple[S, tuple[Effect, ...]]:
    return replace(state, folder_lost=True, folder_reason=event.reason), ()


def regain_folder(state: S, event: object) -> tuple[S, tuple[Effect, ...]]:
    return replace(state, folder_lost=False, folder_reason=""), ()


def _hands_off(handling: Handling) -> Handling:
    """No move in progress; the counts stay."""
    return Handling(turns_made=handling.turns_made, goes=handling.goes, touched_s=-math.inf, lead_s=handling.lead_s)
