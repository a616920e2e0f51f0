"""The whole table of the night: which event, in which stage, does what and leads where. No I/O, no clock.

A **stage** is a question about the axis, and the hands that it wants: how the mount stands (orientation), where the
axis points (capture), bringing it to the pole (rough, then fine correction), whether that is true (proof). Within a
stage a frame means the same thing all along; that is all a stage is. `step(state, event)` tries the rows of
`TRANSITIONS` in order: the action is applied to the state as it was, the guard looks at the outcome, the first row
that passes counts, and `then` completes it. An event without a row changes nothing and says why (`Refused`).

What holds over every stage stands in tables of its own:

* Before site and target are known (`Waiting`) only `BEFORE` holds; `NightStarted` makes it `Running`, for good.
* **Pause** and a **lost folder** lie over a stage and leave it as it is (`OVERLAYS`): its place in the night is kept,
  words of the person still count, and frames that come while paused are put aside (`PUT_ASIDE_WHILE_PAUSED`).
* **Clouds** are no state: they are seen from frames that fail one after the other (`Seen.clouded`), so they pass with
  the first good frame. No stage is left because of them; only the coach speaks otherwise.
* **Undo** takes back what the last click did (`CLICKS`), and one click only. What the sky, the camera and the folder
  have shown since goes on (`GOES_ON`): time and frames cannot be taken back.
* **Asked turns.** After every step the state remembers what the coach asks of the screws (`remember_asked`), because
  "turned as told" means nothing without it; and where locks were asked for, hands come before words.
* **The bump.** Whoever walks into the tripod makes all that was measured of the axis worthless, wherever the night
  stands: every stage with something to lose leads back to the capture (`BUMPED`). Screws and rig stay known.
* Another target or tolerance, tracking, time: every stage takes them (`ANYWHERE`); in the proof they judge it anew.

The diagram in DEVELOPERS.md is drawn from these tables (tests/night_diagram.py).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, assert_never

from polewright.core.night import actions as do
from polewright.core.night.actions import Action, Outcome
from polewright.core.night.capture import actions as capture
from polewright.core.night.capture.actions import sure_near_by_drift
from polewright.core.night.correction import handling as screws
from polewright.core.night.drifting import actions as drift
from polewright.core.night.effects import Effect, Objection, Refused
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    BackAsked,
    BaseLocked,
    BaseUnlocked,
    DeclinationNudged,
    DriftAsked,
    DriftMeasured,
    DriftRefused,
    FolderBack,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    GuidingSwitched,
    GuidingTold,
    LeadSwitched,
    LessonAsked,
    NextAsked,
    NightStarted,
    PauseAsked,
    RestartAsked,
    ResumeAsked,
    RigMended,
    ScrewTurned,
    ShiftPutAway,
    SkyMended,
    TargetChanged,
    Ticked,
    ToleranceChanged,
    TrackingSwitched,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.orientation import mending
from polewright.core.night.orientation.actions import begin_night
from polewright.core.night.proof import actions as proof
from polewright.core.night.states import NightState, Running, Seen, Stage, Waiting
from polewright.core.night.watch import actions as watch
from polewright.core.night.witness import contradicted, proof_confirms, proof_outside, third_sky_wanted

Guard = Callable[[Running], bool]


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


O, C, R, F, P = Stage.ORIENTATION, Stage.CAPTURE, Stage.ROUGH, Stage.FINE, Stage.PROOF  # noqa: E741

BEFORE: Mapping[type, Callable[[Any, Any], tuple[NightState, tuple[Effect, ...]]]] = {
    NightStarted: begin_night,
    FrameSolved: do.see_frame,
    FrameUnsolved: do.note_trouble,
    TrackingSwitched: do.switch_tracking,
    Ticked: do.tick,
}

ORIENTATION: tuple[Row, ...] = (
    Row(O, NextAsked, C),
    Row(O, FrameSolved, O, do.see_frame),
    Row(O, FrameUnsolved, O, do.note_trouble),
)
CAPTURE: tuple[Row, ...] = (
    # watching the drift where the RA axis cannot be turned
    Row(C, DriftAsked, C, drift.watch_drift),
    Row(C, GuidingTold, C, drift.tell_guiding),
    Row(C, DeclinationNudged, C, drift.tell_nudge),
    Row(C, FrameSolved, C, do.nothing, drift.by_drift, "by drift", drift.keep_drift_frame),
    Row(C, DriftMeasured, F, drift.take_drift, sure_near_by_drift, "sure, near the pole", drift.follow_from_drift),
    Row(C, DriftMeasured, R, drift.take_drift, drift.sure_by_drift, "sure", drift.follow_from_drift),
    Row(C, DriftMeasured, C, drift.take_drift),
    Row(C, DriftRefused, C, drift.note_drift_refusal),
    Row(C, NextAsked, F, do.nothing, capture.near_by_drift, "by drift, near the pole", drift.follow_from_drift),
    Row(C, NextAsked, R, do.nothing, drift.known_by_drift, "by drift", drift.follow_from_drift),
    Row(C, BackAsked, C, do.nothing, drift.may_leave_drift, "by drift", drift.leave_drift),
    Row(C, RestartAsked, C, do.nothing, drift.by_drift, "by drift", drift.watch_anew),
    # turning the RA axis
    Row(C, FrameSolved, C, do.keep_turn_frame),
    Row(C, FrameUnsolved, C, do.note_trouble),
    Row(C, AxisMeasured, F, capture.take_axis_and_follow, capture.sure_and_near, "sure, near the pole"),
    Row(C, AxisMeasured, R, capture.take_axis_and_follow, capture.axis_sure, "sure"),
    Row(C, AxisMeasured, C, do.take_axis),
    Row(C, AxisRefused, C, capture.doubt_places),
    Row(C, NextAsked, F, do.begin_following, capture.axis_near, "axis known, near the pole"),
    Row(C, NextAsked, R, do.begin_following, capture.axis_known, "axis known"),
    Row(C, BackAsked, O),
    Row(C, RestartAsked, C, do.drop_capture),
)
ROUGH: tuple[Row, ...] = (
    Row(R, FrameSolved, R, do.follow_frame),
    Row(R, FrameUnsolved, R, do.note_trouble),
    Row(R, AxisFollowed, F, screws.take_reading, screws.near, "near the pole, at rest"),
    Row(R, AxisFollowed, R, screws.take_reading),
    Row(R, AxisMeasured, R, capture.take_axis_and_follow),
    Row(R, AxisRefused, R, do.note_refusal),
    Row(R, ScrewTurned, R, screws.report_turn),
    Row(R, LessonAsked, R, screws.ask_lesson),
    Row(R, BaseLocked, R, screws.lock_base),
    Row(R, BaseUnlocked, R, screws.unlock_base),
    Row(R, NextAsked, F, do.nothing, screws.has_offset, "axis known"),
    Row(R, BackAsked, C, capture.reopen_capture),
    Row(R, RestartAsked, R, screws.restart_following, capture.axis_known, "axis known"),
)
FINE: tuple[Row, ...] = (
    Row(F, FrameSolved, F, do.follow_frame),
    Row(F, FrameUnsolved, F, do.note_trouble),
    Row(F, AxisFollowed, R, screws.take_reading, screws.far, "far from the pole, at rest"),
    Row(F, AxisFollowed, F, screws.take_reading),
    Row(F, AxisMeasured, F, capture.take_axis_and_follow),
    Row(F, AxisRefused, F, do.note_refusal),
    Row(F, ScrewTurned, F, screws.report_turn),
    Row(F, LessonAsked, F, screws.ask_lesson),
    Row(F, BaseLocked, F, screws.lock_base),
    Row(F, BaseUnlocked, F, screws.unlock_base),
    Row(F, NextAsked, P, proof.begin_proof, screws.has_offset, "axis known"),
    Row(F, Accepted, P, proof.begin_proof, screws.has_offset, "axis known"),
    Row(F, BackAsked, C, capture.reopen_capture),
    Row(F, RestartAsked, F, screws.restart_following, capture.axis_known, "axis known"),
)
PROOF: tuple[Row, ...] = (
    # by drift
    Row(P, DriftAsked, P, drift.watch_drift),
    Row(P, GuidingTold, P, drift.tell_guiding),
    Row(P, DeclinationNudged, P, drift.tell_nudge),
    Row(P, FrameSolved, P, do.nothing, drift.by_drift, "by drift", drift.keep_drift_frame),
    Row(P, DriftMeasured, P, drift.take_drift, drift.drift_confirms, "inside the tolerance", drift.prove_by_drift),
    Row(P, DriftMeasured, P, drift.take_drift, drift.drift_contradicts, "outside the tolerance", drift.keep_drift),
    Row(P, DriftMeasured, P, drift.take_drift),
    Row(P, DriftRefused, P, drift.note_drift_refusal),
    Row(P, NextAsked, F, do.nothing, drift.known_by_drift, "by drift", drift.believe_drift),
    Row(P, BackAsked, P, do.nothing, drift.may_leave_drift, "by drift", drift.leave_drift),
    Row(P, RestartAsked, P, do.nothing, drift.by_drift, "by drift", drift.watch_anew),
    # the imaging run
    Row(P, FrameSolved, P, watch.look, watch.aligned, "aligned"),
    Row(P, GuidingSwitched, P, watch.switch_guiding, watch.aligned, "aligned"),
    Row(P, ShiftPutAway, P, watch.put_away, watch.shift_unread, "a shift was found"),
    # by a second turn of the RA axis
    Row(P, NextAsked, F, do.nothing, contradicted, "contradicted", proof.believe_proof),
    Row(P, NextAsked, P, proof.stay_in_this_sky),
    Row(P, FrameSolved, P, proof.keep_proof_frame),
    Row(P, FrameUnsolved, P, do.note_trouble),
    Row(P, ToleranceChanged, P, proof.judge_anew),
    Row(P, TargetChanged, P, proof.judge_by_other_pole),
    Row(P, AxisMeasured, P, do.take_axis, proof_confirms, "inside the tolerance", proof.prove),
    Row(P, AxisMeasured, F, do.take_axis, proof_outside, "outside the tolerance", proof.believe_proof),
    Row(P, AxisMeasured, P, do.take_axis, third_sky_wanted, "open", proof.prove_on),
    Row(P, AxisMeasured, P, do.take_axis),
    Row(P, AxisRefused, P, do.note_refusal),
    Row(P, Accepted, P, proof.accept_unproved, then=drift.keep_drift),
    Row(P, BackAsked, F, do.drop_proof),
    Row(P, RestartAsked, P, proof.begin_proof),
)
BUMPED: tuple[Row, ...] = tuple(Row(stage, TripodBumped, C, do.bump) for stage in (C, R, F, P))
MENDED: tuple[Row, ...] = (
    Row(O, SkyMended, O, mending.mend_sky),
    *(Row(stage, SkyMended, C, mending.mend_sky) for stage in (C, R, F, P)),
    *(Row(stage, RigMended, stage, mending.mend_rig) for stage in Stage),
)
ANYWHERE: tuple[Row, ...] = (
    *(Row(stage, TargetChanged, stage, do.change_target) for stage in Stage if stage is not P),
    *(Row(stage, ToleranceChanged, stage, do.change_tolerance) for stage in Stage if stage is not P),
    *(Row(stage, TrackingSwitched, stage, do.switch_tracking) for stage in Stage),
    *(Row(stage, LeadSwitched, stage, do.switch_lead) for stage in Stage),
    *(Row(stage, Ticked, stage, do.tick) for stage in Stage),
)


def rows_of(stage: Stage) -> tuple[Row, ...]:
    """The rows that are a stage's own."""
    match stage:
        case Stage.ORIENTATION:
            return ORIENTATION
        case Stage.CAPTURE:
            return CAPTURE
        case Stage.ROUGH:
            return ROUGH
        case Stage.FINE:
            return FINE
        case Stage.PROOF:
            return PROOF
        case _:
            assert_never(stage)


TRANSITIONS: tuple[Row, ...] = (*(row for stage in Stage for row in rows_of(stage)), *BUMPED, *MENDED, *ANYWHERE)
ROWS = {
    (stage, event): tuple(r for r in TRANSITIONS if (r.stage, r.event) == (stage, event))
    for stage, event in {(r.stage, r.event) for r in TRANSITIONS}
}


@dataclass(frozen=True)
class OverlayRow:
    """What lies over every stage: paused, folder lost; `event` switches it on or off, if `guard` lets it."""

    overlay: str
    event: type
    on: bool
    action: Callable[[Any, Any], tuple[NightState, tuple[Effect, ...]]]
    guard: Callable[[Seen], bool]


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
    GuidingTold,
    DeclinationNudged,
    TargetChanged,
    SkyMended,
    RigMended,
    ToleranceChanged,
)
# all that was seen, but for `tracking`: a click may have told it, and then goes back with that
GOES_ON = (*(f.name for f in fields(Seen) if f.name != "tracking"), "trail")


def step(state: NightState, event: AnyEvent) -> tuple[NightState, tuple[Effect, ...]]:
    """The state after the event, and what the engine is to do. An event that has no place here changes nothing."""
    after, effects = _take(replace(state, now_s=max(state.now_s, event.at_s)), event)
    if any(isinstance(effect, Refused) for effect in effects):
        return state, effects
    if isinstance(after, Waiting):
        return after, effects
    if isinstance(event, CLICKS) and isinstance(state, Running):
        after = replace(after, undo=replace(state, undo=None))
    return screws.remember_asked(after), effects


def _take(now: NightState, event: AnyEvent) -> tuple[NightState, tuple[Effect, ...]]:
    if any(row.event is type(event) for row in OVERLAYS):
        return _overlay(now, event)
    if now.paused and isinstance(event, PUT_ASIDE_WHILE_PAUSED):
        return now, (Refused(Objection.PAUSED),)
    if isinstance(now, Waiting):
        act = BEFORE.get(type(event))
        return (now, (refusal(now, event),)) if act is None else act(now, event)
    return _undo(now) if isinstance(event, UndoAsked) else _stage(now, event)


def _stage(state: Running, event: AnyEvent) -> Outcome:
    """The first row of the table whose guard passes."""
    for row in ROWS.get((state.stage, type(event)), ()):
        after, effects = row.action(state, event)
        if any(isinstance(effect, Refused) for effect in effects):
            return state, effects
        if row.guard is not None and not row.guard(after):
            continue
        after, more = row.then(after, event)
        return replace(after, stage=row.to), effects + more
    return state, (refusal(state, event),)


def _overlay(state: NightState, event: AnyEvent) -> tuple[NightState, tuple[Effect, ...]]:
    for row in OVERLAYS:
        if row.event is type(event) and row.guard(state):
            return row.action(state, event)
    return state, (Refused(Objection.AS_IT_WAS),)


def _undo(state: Running) -> Outcome:
    """Back to before the last click; the time goes on, and frames seen since stay counted."""
    if state.undo is None:
        return state, (Refused(Objection.NO_CLICK),)
    kept: dict[str, Any] = {name: getattr(state, name) for name in GOES_ON}
    back = proof.without_the_run(state, replace(state.undo, **kept, undo=None))
    follows = back.capture.axis is not None and bool(back.capture.frames) and back.stage in (R, F)
    return back, do.begin_following(back, None)[1] if follows else ()


def refusal(state: NightState, event: AnyEvent) -> Refused:
    """Why this event has no place here."""
    return Refused(_objection(state, event))


def _objection(state: NightState, event: AnyEvent) -> Objection:
    match event:
        case ScrewTurned() | LessonAsked() | BaseLocked() | BaseUnlocked():
            return _hands_off(state.stage)
        case NextAsked():
            return Objection.SITE_UNKNOWN if isinstance(state, Waiting) else _not_next(state.stage)
        case BackAsked():
            return Objection.FIRST_STAGE
        case RestartAsked() | TripodBumped():
            return Objection.NOTHING_MEASURED
        case Accepted():
            return Objection.NOTHING_TO_ACCEPT
        case GuidingSwitched() | ShiftPutAway():
            return Objection.NOTHING_WATCHED
        case DriftAsked() | GuidingTold() | DeclinationNudged():
            return Objection.DRIFT_ELSEWHERE
        case NightStarted():
            return Objection.BEGUN_ALREADY
        case TargetChanged() | ToleranceChanged() | LeadSwitched() | SkyMended() | RigMended():
            return Objection.SITE_UNKNOWN
        case UndoAsked():
            return Objection.NO_CLICK
        case AxisMeasured() | AxisRefused() | AxisFollowed() | DriftMeasured() | DriftRefused():
            return Objection.OTHER_STAGE
        case FrameSolved() | FrameUnsolved() | TrackingSwitched() | Ticked():
            return Objection.OTHER_STAGE  # every stage has a row for these
        case PauseAsked() | ResumeAsked() | FolderLost() | FolderBack():
            return Objection.AS_IT_WAS
        case _:
            assert_never(event)


def _hands_off(stage: Stage) -> Objection:
    match stage:
        case Stage.PROOF:
            return Objection.SCREWS_REST_WHILE_PROVED
        case Stage.CAPTURE:
            return Objection.SCREWS_REST_WHILE_MEASURED
        case Stage.ORIENTATION | Stage.ROUGH | Stage.FINE:
            return Objection.SCREWS_LATER
        case _:
            assert_never(stage)


def _not_next(stage: Stage) -> Objection:
    match stage:
        case Stage.CAPTURE:
            return Objection.NOT_MEASURED
        case Stage.PROOF:
            return Objection.NOT_PROVED
        case Stage.ORIENTATION | Stage.ROUGH | Stage.FINE:
            return Objection.AXIS_UNKNOWN
        case _:
            assert_never(stage)
