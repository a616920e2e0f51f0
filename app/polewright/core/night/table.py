"""The night as a table: which event, in which stage, does what and leads where. No I/O, no clock.

`step(state, event) -> (state, effects)`. Rows are tried in order: the action is applied to the state as it was, the
guard looks at the outcome, the first row that passes counts, and `then` completes it. An event without a row changes
nothing and says why (`Refused`). The diagram in DEVELOPERS.md is drawn from these tables (tests/night_diagram.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from polewright.core.night import actions as do
from polewright.core.night.actions import Action, Outcome
from polewright.core.night.correction.handling import (
    ask_lesson,
    lock_base,
    remember_asked,
    report_turn,
    settled,
    take_reading,
    unlock_base,
)
from polewright.core.night.drifting.actions import (
    believe_drift,
    by_drift,
    drift_confirms,
    drift_contradicts,
    follow_from_drift,
    keep_drift,
    keep_drift_frame,
    known_by_drift,
    leave_drift,
    may_leave_drift,
    note_drift_refusal,
    prove_by_drift,
    sure_by_drift,
    take_drift,
    watch_anew,
    watch_drift,
)
from polewright.core.night.effects import Effect, EnterStage, Refused
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    BackAsked,
    BaseLocked,
    BaseUnlocked,
    DriftAsked,
    DriftMeasured,
    DriftRefused,
    FolderBack,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    GuidingSwitched,
    LessonAsked,
    NextAsked,
    NightStarted,
    PauseAsked,
    RestartAsked,
    ResumeAsked,
    ScrewTurned,
    ShiftPutAway,
    TargetChanged,
    Ticked,
    ToleranceChanged,
    TrackingSwitched,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.proof.judging import judge_anew, judge_by_other_pole, without_the_run
from polewright.core.night.states import CLOUDED_FRAMES, NightState, Stage
from polewright.core.night.turning.places import PLACES_WANTED, places
from polewright.core.night.watch import actions as watch
from polewright.core.night.witness import proof_confirms, proof_contradicts
from polewright.core.offset import Offset

FINE_TOLERANCES, FINE_RAD = 6.0, math.radians(3.0 / 60.0)
CAPTURE_SHARE = 1.0 / 3.0  # of the tolerance: a capture this sure needs no further rotation
FALL_BACK = 3.0  # fine goes back to rough only beyond this many times the limit between them


Guard = Callable[[NightState], bool]


@dataclass(frozen=True)
class Row:
    """In `stage`, `event` (and `guard`, seen after the action) leads to `to`; `guard_name` labels the diagram."""

    stage: Stage
    event: type
    to: Stage
    action: Action = do.nothing
    guard: Guard | None = None
    guard_name: str = ""
    then: Action = do.nothing  # once the guard has passed


def started(state: NightState) -> bool:
    """Site and target are known."""
    return state.plan is not None


def axis_known(state: NightState) -> bool:
    """A capture has given an axis."""
    return state.capture.axis is not None


def axis_sure(state: NightState) -> bool:
    """The capture is as sure as tonight's tolerance needs, and has a check."""
    axis, plan = state.capture.axis, state.plan
    if axis is None or plan is None or axis.suspect is not None or len(places(state.capture)) < PLACES_WANTED:
        return False
    offset = Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2)
    return offset.sigma_rad <= CAPTURE_SHARE * plan.tolerance_rad


def fine_limit_rad(state: NightState) -> float:
    """Below this total offset the correction is fine."""
    return max(FINE_TOLERANCES * (state.plan.tolerance_rad if state.plan else 0.0), FINE_RAD)


def axis_near(state: NightState) -> bool:
    """The capture says that the axis is near the pole already."""
    axis = state.capture.axis
    return axis is not None and math.hypot(axis.east_rad, axis.up_rad) <= fine_limit_rad(state)


def near(state: NightState) -> bool:
    """At rest, within reach of the fine correction."""
    offset = state.offset
    return offset is not None and settled(state) and offset.total_rad <= fine_limit_rad(state)


def far(state: NightState) -> bool:
    """At rest, well outside the fine correction."""
    offset = state.offset
    return offset is not None and settled(state) and offset.total_rad > FALL_BACK * fine_limit_rad(state)


def sure_and_near(state: NightState) -> bool:
    """The capture is sure and says that the axis is near the pole already."""
    return axis_sure(state) and axis_near(state)


def known_and_near(state: NightState) -> bool:
    """The capture says that the axis is near the pole already."""
    return axis_known(state) and axis_near(state)


def has_offset(state: NightState) -> bool:
    """The axis is known and can be proved."""
    return state.offset is not None


def aligned(state: NightState) -> bool:
    """Proved, or accepted as it is: from now on the imaging run is watched."""
    return state.aligned


def shift_unread(state: NightState) -> bool:
    """The watch has found something."""
    return state.watching is not None and bool(state.watching.vigil.shifts)


def known_by_drift_and_near(state: NightState) -> bool:
    """The drift tells both components, and that the axis is near the pole already."""
    return known_by_drift(state) and axis_near(state)


def sure_by_drift_and_near(state: NightState) -> bool:
    """The drift is sure and says that the axis is near the pole already."""
    return sure_by_drift(state) and axis_near(state)


O, C, R, F, P = Stage.ORIENTATION, Stage.CAPTURE, Stage.ROUGH, Stage.FINE, Stage.PROOF  # noqa: E741

TRANSITIONS: tuple[Row, ...] = (
    # how to stand the mount up
    Row(O, NightStarted, O, do.begin_night),
    Row(O, NextAsked, C, do.nothing, started, "site known"),
    Row(O, FrameSolved, O, do.see_frame),
    Row(O, FrameUnsolved, O, do.note_trouble),
    # turning the RA axis, or watching the drift where it cannot be turned
    Row(C, DriftAsked, C, watch_drift),
    Row(C, FrameSolved, C, do.nothing, by_drift, "by drift", keep_drift_frame),
    Row(C, DriftMeasured, F, take_drift, sure_by_drift_and_near, "sure, near the pole", follow_from_drift),
    Row(C, DriftMeasured, R, take_drift, sure_by_drift, "sure", follow_from_drift),
    Row(C, DriftMeasured, C, take_drift),
    Row(C, DriftRefused, C, note_drift_refusal),
    Row(C, NextAsked, F, do.nothing, known_by_drift_and_near, "by drift, near the pole", follow_from_drift),
    Row(C, NextAsked, R, do.nothing, known_by_drift, "by drift", follow_from_drift),
    Row(C, BackAsked, C, do.nothing, may_leave_drift, "by drift", leave_drift),
    Row(C, RestartAsked, C, do.nothing, by_drift, "by drift", watch_anew),
    Row(C, FrameSolved, C, do.keep_capture_frame),
    Row(C, FrameUnsolved, C, do.note_trouble),
    Row(C, AxisMeasured, F, do.take_axis_and_follow, sure_and_near, "sure, near the pole"),
    Row(C, AxisMeasured, R, do.take_axis_and_follow, axis_sure, "sure"),
    Row(C, AxisMeasured, C, do.take_axis),
    Row(C, AxisRefused, C, do.note_refusal),
    Row(C, NextAsked, F, do.begin_following, known_and_near, "axis known, near the pole"),
    Row(C, NextAsked, R, do.begin_following, axis_known, "axis known"),
    Row(C, BackAsked, O),
    Row(C, RestartAsked, C, do.drop_capture),
    Row(C, TripodBumped, C, do.bump),
    # rough correction
    Row(R, FrameSolved, R, do.follow_frame),
    Row(R, FrameUnsolved, R, do.note_trouble),
    Row(R, AxisFollowed, F, take_reading, near, "near the pole, at rest"),
    Row(R, AxisFollowed, R, take_reading),
    Row(R, AxisMeasured, R, do.take_axis_and_follow),
    Row(R, AxisRefused, R, do.note_refusal),
    Row(R, ScrewTurned, R, report_turn),
    Row(R, LessonAsked, R, ask_lesson),
    Row(R, BaseLocked, R, lock_base),
    Row(R, BaseUnlocked, R, unlock_base),
    Row(R, NextAsked, F, do.nothing, has_offset, "axis known"),
    Row(R, BackAsked, C, do.reopen_capture),
    Row(R, RestartAsked, R, do.restart_following, axis_known, "axis known"),
    Row(R, TripodBumped, C, do.bump),
    # fine correction
    Row(F, FrameSolved, F, do.follow_frame),
    Row(F, FrameUnsolved, F, do.note_trouble),
    Row(F, AxisFollowed, R, take_reading, far, "far from the pole, at rest"),
    Row(F, AxisFollowed, F, take_reading),
    Row(F, AxisMeasured, F, do.take_axis_and_follow),
    Row(F, AxisRefused, F, do.note_refusal),
    Row(F, ScrewTurned, F, report_turn),
    Row(F, LessonAsked, F, ask_lesson),
    Row(F, BaseLocked, F, lock_base),
    Row(F, BaseUnlocked, F, unlock_base),
    Row(F, NextAsked, P, do.drop_proof, has_offset, "axis known"),
    Row(F, Accepted, P, do.drop_proof, has_offset, "axis known"),
    Row(F, BackAsked, C, do.reopen_capture),
    Row(F, RestartAsked, F, do.restart_following, axis_known, "axis known"),
    Row(F, TripodBumped, C, do.bump),
    # proof by drift
    Row(P, DriftAsked, P, watch_drift),
    Row(P, FrameSolved, P, do.nothing, by_drift, "by drift", keep_drift_frame),
    Row(P, DriftMeasured, P, take_drift, drift_confirms, "inside the tolerance", prove_by_drift),
    Row(P, DriftMeasured, P, take_drift, drift_contradicts, "outside the tolerance", keep_drift),
    Row(P, DriftMeasured, P, take_drift),
    Row(P, DriftRefused, P, note_drift_refusal),
    Row(P, NextAsked, F, do.nothing, known_by_drift, "by drift", believe_drift),
    Row(P, BackAsked, P, do.nothing, may_leave_drift, "by drift", leave_drift),
    Row(P, RestartAsked, P, do.nothing, by_drift, "by drift", watch_anew),
    # proof by a second turn of the RA axis
    Row(P, FrameSolved, P, watch.look, aligned, "aligned"),
    Row(P, GuidingSwitched, P, watch.switch_guiding, aligned, "aligned"),
    Row(P, ShiftPutAway, P, watch.put_away, shift_unread, "a shift was found"),
    Row(P, FrameSolved, P, do.keep_proof_frame),
    Row(P, FrameUnsolved, P, do.note_trouble),
    Row(P, ToleranceChanged, P, judge_anew, started, "site known"),
    Row(P, TargetChanged, P, judge_by_other_pole, started, "site known"),
    Row(P, AxisMeasured, P, do.take_proof_axis, proof_confirms, "inside the tolerance", do.prove),
    Row(P, AxisMeasured, F, do.take_proof_axis, proof_contradicts, "outside the tolerance", do.believe_proof),
    Row(P, AxisMeasured, P, do.take_proof_axis),
    Row(P, AxisRefused, P, do.note_proof_refusal),
    Row(P, Accepted, P, do.accept_unproved, then=keep_drift),
    Row(P, BackAsked, F, do.drop_proof),
    Row(P, RestartAsked, P, do.drop_proof),
    Row(P, TripodBumped, C, do.bump),
    # in every stage
    *(Row(stage, TargetChanged, stage, do.change_target, started, "site known") for stage in (O, C, R, F)),
    *(Row(stage, ToleranceChanged, stage, do.change_tolerance, started, "site known") for stage in (O, C, R, F)),
    *(Row(stage, TrackingSwitched, stage, do.switch_tracking) for stage in Stage),
    *(Row(stage, Ticked, stage) for stage in Stage),
)


@dataclass(frozen=True)
class OverlayRow:
    """What lies over every stage: paused, clouds, folder lost; `event` switches it on or off."""

    overlay: str
    event: type
    on: bool
    action: Action
    guard: Guard
    guard_name: str = ""


OVERLAYS: tuple[OverlayRow, ...] = (
    OverlayRow("paused", PauseAsked, True, do.pause, lambda s: not s.paused),
    OverlayRow("paused", ResumeAsked, False, do.resume, lambda s: s.paused),
    OverlayRow("folder lost", FolderLost, True, do.lose_folder, lambda s: not s.folder_lost),
    OverlayRow("folder lost", FolderBack, False, do.regain_folder, lambda s: s.folder_lost),
)
PUT_ASIDE_WHILE_PAUSED = (FrameSolved, FrameUnsolved, AxisFollowed)
CLICKS = (
    NextAsked,
    BackAsked,
    RestartAsked,
    TripodBumped,
    ScrewTurned,
    LessonAsked,
    BaseLocked,
    BaseUnlocked,
    Accepted,
    DriftAsked,
    TargetChanged,
    ToleranceChanged,
)
ROWS = {
    (stage, event): tuple(r for r in TRANSITIONS if (r.stage, r.event) == (stage, event))
    for stage, event in {(r.stage, r.event) for r in TRANSITIONS}
}


def step(state: NightState, event: AnyEvent) -> tuple[NightState, tuple[Effect, ...]]:
    """The state after the event, and what the engine is to do. An event that has no place here changes nothing."""
    now = replace(state, now_s=max(state.now_s, event.at_s))
    if isinstance(event, UndoAsked):
        after, effects = _undo(now)
    elif any(row.event is type(event) for row in OVERLAYS):
        after, effects = _overlay(now, event)
    elif now.paused and isinstance(event, PUT_ASIDE_WHILE_PAUSED):
        after, effects = now, (Refused("Paused: this frame is put aside.", "Resume to go on."),)
    else:
        after, effects = _stage(now, event)
    if any(isinstance(effect, Refused) for effect in effects):
        return state, effects
    if isinstance(event, CLICKS):
        after = replace(after, undo=replace(state, undo=None))
    return remember_asked(_weather(after)), effects


def _stage(state: NightState, event: AnyEvent) -> Outcome:
    """The first row of the table whose guard passes."""
    for row in ROWS.get((state.stage, type(event)), ()):
        after, effects = row.action(state, event)
        if any(isinstance(effect, Refused) for effect in effects):
            return state, effects
        if row.guard is not None and not row.guard(after):
            continue
        after, more = row.then(after, event)
        effects = effects + more
        entered = row.to is not state.stage or isinstance(event, RestartAsked | TripodBumped)
        return replace(after, stage=row.to), (*effects, *((EnterStage(row.to.value),) if entered else ()))
    return state, (refusal(state, type(event)),)


def _overlay(state: NightState, event: AnyEvent) -> Outcome:
    for row in OVERLAYS:
        if row.event is type(event) and row.guard(state):
            return row.action(state, event)
    name = next(row.overlay for row in OVERLAYS if row.event is type(event))
    return state, (Refused(f"Nothing changes: {name} is as it was.", "Nothing to do."),)


def _undo(state: NightState) -> Outcome:
    """Back to before the last click; the time goes on, and frames seen since stay counted."""
    if state.undo is None:
        return state, (Refused("There is no click to take back.", "Nothing to do."),)
    back = replace(
        state.undo,
        now_s=state.now_s,
        frames_used=state.frames_used,
        frames_unsolved=state.frames_unsolved,
        last_frame=state.last_frame,
        last_frame_s=state.last_frame_s,
        trouble=state.trouble,
        trail=state.trail,
        paused=state.paused,
        folder_lost=state.folder_lost,
        folder_reason=state.folder_reason,
        undo=None,
    )
    back = without_the_run(state, back)
    effects: tuple[Effect, ...] = (EnterStage(back.stage.value),) if back.stage is not state.stage else ()
    if back.capture.axis is not None and back.capture.frames and back.stage in (R, F):
        effects = do.begin_following(back, None)[1] + effects
    return back, effects


def _weather(state: NightState) -> NightState:
    clouded = state.trouble is not None and state.trouble.count >= CLOUDED_FRAMES and state.last_frame is not None
    return state if clouded == state.clouded else replace(state, clouded=clouded)


def refusal(state: NightState, event: type) -> Refused:
    """Why this event has no place here, and what to do instead."""
    if event in (ScrewTurned, LessonAsked, BaseLocked, BaseUnlocked):
        if state.stage is P:
            return Refused("The screws rest during the proof.", "Go back to the fine correction to turn them.")
        if state.stage is C:
            return Refused("The screws rest while the axis is measured.", "If one was turned, restart this stage.")
        return Refused("The screws come later.", "Stand the mount up first, then go on.")
    if event is NextAsked:
        return Refused(*_why_not_next(state))
    if event is BackAsked:
        return Refused("This is the first stage.", "Go on when you are ready.")
    if event is RestartAsked or event is TripodBumped:
        return Refused("Nothing is measured yet.", "Go on when you are ready.")
    if event is Accepted:
        return Refused("There is nothing to accept yet.", "Bring the axis to the pole first.")
    if event in (GuidingSwitched, ShiftPutAway):
        return Refused("Nothing is being watched.", "The watch begins once the alignment is proved or accepted.")
    if event is DriftAsked:
        return Refused("The drift is watched to measure or to prove.", "Go on to that stage, or back to it.")
    if event is NightStarted:
        return Refused("The night has begun already.", "Change target or tolerance instead.")
    if event in (TargetChanged, ToleranceChanged):
        return Refused("Site and target are not known yet.", "Enter the site first.")
    return Refused(f"This belongs to another stage than {state.stage.value}.", "Nothing to do.")


def _why_not_next(state: NightState) -> tuple[str, str]:
    if state.stage is O:
        return "The site is not known yet.", "Enter latitude and longitude first."
    if state.stage is C:
        return "The axis is not measured yet.", "Rotate the RA axis and take frames at three places."
    if state.stage is P:
        return "The proof is not complete.", "Rotate the RA axis as asked, or accept the alignment as it is."
    return "The axis is not known.", "Go back and take the capture again."
