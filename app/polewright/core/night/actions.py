"""What an event does to the state, row by row of the table in core/night/table.py. Pure functions, one idea each.

An action takes (state, event) and returns (state, effects); a `Refused` among the effects means that nothing changed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from polewright.core.night.drift_watch import anew, shifted_axis, shifted_reading
from polewright.core.night.effects import Effect, EstimateAxis, FollowAxis, KeepNight, Refused, StartFollowing
from polewright.core.night.events import (
    AxisMeasured,
    AxisRefused,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    NightStarted,
    TargetChanged,
    ToleranceChanged,
    TrackingSwitched,
)
from polewright.core.night.rest import Rest, shifted_rest
from polewright.core.night.states import Capture, Handling, Locks, NightPlan, NightState, Refusal, Stage, Trouble
from polewright.core.night.turning.places import answers, keep_frame, places
from polewright.core.plan.tonight import ToleranceOrigin

Outcome = tuple[NightState, tuple[Effect, ...]]
Action = Callable[[NightState, Any], Outcome]


def nothing(state: NightState, event: object) -> Outcome:
    """Only the stage changes."""
    return state, ()


def refuse(reason: str, cure: str) -> Action:
    """An action that says no."""

    def action(state: NightState, event: object) -> Outcome:
        return state, (Refused(reason, cure),)

    return action


def begin_night(state: NightState, event: NightStarted) -> Outcome:
    """Takes site, target, tolerance, the rig's screws and what its locks usually do."""
    origin = ToleranceOrigin.USUAL if event.imaging is None else ToleranceOrigin.PLAN
    plan = NightPlan(
        event.site,
        event.target,
        event.pole_altitude_rad,
        event.tolerance_rad,
        event.obstacles,
        origin,
        event.imaging,
    )
    locks = Locks(aim_rad=event.locks.aim_rad(plan.pole_altitude_rad, plan.southern), memory=event.locks)
    altitude = replace(event.altitude, bends=True)
    return replace(state, plan=plan, azimuth=event.azimuth, altitude=altitude, locks=locks), ()


# frames


def see_frame(state: NightState, event: FrameSolved) -> Outcome:
    """A frame was solved: the sky is clear. Nothing is measured from it in this stage."""
    return (
        replace(
            state,
            last_frame=event.frame,
            last_frame_s=state.now_s,
            frames_used=state.frames_used + 1,
            trouble=None,
        ),
        (),
    )


def note_trouble(state: NightState, event: FrameUnsolved) -> Outcome:
    """Counts frames that could not be used, one after the other."""
    before = state.trouble
    count, since = (before.count + 1, before.since_s) if before else (1, state.now_s)
    trouble = Trouble(event.trouble, event.reason, event.cure, count, since)
    return replace(state, trouble=trouble, frames_unsolved=state.frames_unsolved + 1), ()


def keep_capture_frame(state: NightState, event: FrameSolved) -> Outcome:
    """Keeps a frame of the turn; asks for the axis once there are two places."""
    state, _ = see_frame(state, event)
    kept = keep_frame(state.capture, event.frame)
    fresh = kept is not state.capture
    state = replace(state, capture=kept)
    return state, _estimate(state, kept) if fresh else ()


def keep_proof_frame(state: NightState, event: FrameSolved) -> Outcome:
    """The same for the second turn, the proof."""
    state, _ = see_frame(state, event)
    kept = keep_frame(state.proof, event.frame)
    fresh = kept is not state.proof
    state = replace(state, proof=kept)
    return state, _estimate(state, kept) if fresh else ()


def follow_frame(state: NightState, event: FrameSolved) -> Outcome:
    """Asks for a reading of the axis off this frame."""
    seen, _ = see_frame(state, event)
    return seen, (FollowAxis(event.frame),)


def _estimate(state: NightState, capture: Capture) -> tuple[Effect, ...]:
    if state.plan is None or len(places(capture)) < 2:
        return ()
    return (EstimateAxis(capture.frames, state.plan.target),)


# the axis


def take_axis(state: NightState, event: AxisMeasured) -> Outcome:
    """The axis of the capture, as known so far."""
    if not answers(state.capture, event.axis):
        return state, (Refused("This axis belongs to frames that were set aside.", "Nothing to do."),)
    return replace(state, capture=replace(state.capture, axis=event.axis, refusal=None)), ()


def take_axis_and_follow(state: NightState, event: AxisMeasured) -> Outcome:
    """The axis of the capture, good enough to follow the screws from."""
    taken, effects = take_axis(state, event)
    if effects:
        return state, effects
    return begin_following(taken, event)


def begin_following(state: NightState, event: object) -> Outcome:
    """Follows the axis from the capture's frames; readings begin anew."""
    effect = _start_following(state)
    return replace(state, rest=Rest(), handling=_hands_off(state.handling), reading_warnings=()), (effect,)


def _start_following(state: NightState) -> StartFollowing:
    assert state.plan is not None
    axis = state.capture.axis if state.capture.by_drift else None
    return StartFollowing(state.capture.frames, state.plan.target, axis)


def note_refusal(state: NightState, event: AxisRefused) -> Outcome:
    """The frames do not support an axis yet."""
    return replace(state, capture=replace(state.capture, refusal=Refusal(event.reason, event.cure))), ()


def note_proof_refusal(state: NightState, event: AxisRefused) -> Outcome:
    """The same for the proof."""
    return replace(state, proof=replace(state.proof, refusal=Refusal(event.reason, event.cure))), ()


def take_proof_axis(state: NightState, event: AxisMeasured) -> Outcome:
    """The axis of the second turn, as known so far."""
    if not answers(state.proof, event.axis):
        return state, (Refused("This axis belongs to frames that were set aside.", "Nothing to do."),)
    return replace(state, proof=replace(state.proof, axis=event.axis, refusal=None)), ()


def prove(state: NightState, event: object) -> Outcome:
    """The second turn confirms the first: the night's alignment is proved."""
    return replace(state, proved=True), (() if state.proved else (KeepNight(),))


def believe_proof(state: NightState, event: object) -> Outcome:
    """The second turn contradicts: go on from it, it is the newer one."""
    return begin_following(replace(state, capture=state.proof, proof=Capture(), drift=None, refuted=True), event)


# stages


def drop_capture(state: NightState, event: object) -> Outcome:
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
            reading_warnings=(),
        ),
        (),
    )


def bump(state: NightState, event: object) -> Outcome:
    """The tripod was moved: what was measured is gone, and it settles anew."""
    state, effects = drop_capture(state, event)
    drift = None if state.drift is None else replace(state.drift, stood=False)
    return replace(state, drift=drift, set_down_s=state.now_s), effects


def reopen_capture(state: NightState, event: object) -> Outcome:
    """Back to the capture: its frames stay good as long as nothing was turned since."""
    return (state, ()) if not state.rest.readings and not state.handling.reports else drop_capture(state, event)


def restart_following(state: NightState, event: object) -> Outcome:
    """Begins the correction anew from the same capture."""
    return begin_following(replace(state, locks=replace(state.locks, ready=None, before=None)), event)


def drop_proof(state: NightState, event: object) -> Outcome:
    """Begins the proof (anew), or leaves it. Who cannot turn the RA axis proves by drift as well."""
    drift = anew(state.drift) if state.capture.by_drift else None
    return replace(state, proof=Capture(), drift=drift, proved=False, accepted=False, watching=None, lesson=None), ()


def accept(state: NightState, event: object) -> Outcome:
    """The person takes it as it is."""
    return replace(state, accepted=True), ()


def accept_unproved(state: NightState, event: object) -> Outcome:
    """The person ends the night here."""
    return replace(state, accepted=True), (() if state.accepted else (KeepNight(),))


# settings and the world


def change_target(state: NightState, event: TargetChanged) -> Outcome:
    """Another pole: the frames stay, everything measured from them is computed anew; the plan's tolerance follows."""
    if state.plan is None:
        return state, ()
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
        return state, (_start_following(state), *_estimate(state, state.proof))
    if axis is not None and state.stage in (Stage.ROUGH, Stage.FINE):
        return begin_following(state, event)
    return state, _estimate(state, state.capture) + _estimate(state, state.proof)


def change_tolerance(state: NightState, event: ToleranceChanged) -> Outcome:
    """Another tolerance for tonight."""
    if state.plan is None:
        return state, ()
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


def switch_tracking(state: NightState, event: TrackingSwitched) -> Outcome:
    """The clock drive was switched; the frames will show it too."""
    return replace(state, tracking="on" if event.on else "off"), ()


def pause(state: NightState, event: object) -> Outcome:
    return replace(state, paused=True), ()


def resume(state: NightState, event: object) -> Outcome:
    return replace(state, paused=False), ()


def lose_folder(state: NightState, event: FolderLost) -> Outcome:
    return replace(state, folder_lost=True, folder_reason=event.reason), ()


def regain_folder(state: NightState, event: object) -> Outcome:
    return replace(state, folder_lost=False, folder_reason=""), ()


def _hands_off(handling: Handling) -> Handling:
    """No move in progress; the counts stay."""
    return Handling(turns_made=handling.turns_made, goes=handling.goes, touched_s=-math.inf)
