"""The table of the night: what leads where, what is refused, and that the drawn diagram is the table."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from frame_reasons import FEW
from night_diagram import mermaid_text
from paper_night import PaperNight
from polewright.core.axis_reasons import TooAlike
from polewright.core.model import Site, TargetPole
from polewright.core.night.effects import EstimateAxis, FollowAxis, KeepNight, Refused, StartFollowing
from polewright.core.night.events import (
    Accepted,
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    BackAsked,
    BaseLocked,
    FolderBack,
    FolderLost,
    FrameSolved,
    FrameUnsolved,
    NextAsked,
    NightStarted,
    PauseAsked,
    RestartAsked,
    ResumeAsked,
    ScrewTurned,
    TargetChanged,
    Ticked,
    ToleranceChanged,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.measured import FollowedAxis, MeasuredAxis
from polewright.core.night.states import NightState, Stage, Waiting, begun
from polewright.core.night.table import TRANSITIONS, step
from polewright.core.plan.tonight import ToleranceOrigin
from polewright.core.screws.angles import Screw
from polewright.words.objections import refused_words

ARCSEC = math.radians(1.0 / 3600.0)
SMALL = ((ARCSEC**2, 0.0), (0.0, ARCSEC**2))
START = NightStarted(0.0, Site(52.0, 10.0), TargetPole.TRUE, math.radians(52.0), 30.0 * ARCSEC)


def after(*events: AnyEvent, state: NightState | None = None) -> NightState:
    """The state after these events, none of which may be refused."""
    state = state or Waiting()
    for event in events:
        state, effects = step(state, event)
        assert not any(isinstance(e, Refused) for e in effects), (event, effects)
    return state


def captured(east_arcmin: float = 40.0, up_arcmin: float = -20.0) -> NightState:
    """Three places measured: the correction begins."""
    night = PaperNight(3)
    state = after(START, NextAsked(1.0))
    for index, theta in enumerate((-30.0, -70.0, -110.0)):
        night.theta = math.radians(theta)
        state = after(FrameSolved(10.0 + index, night.placed(f"c{index}")), state=state)
    names = tuple(f.name for f in state.capture.frames)
    axis = MeasuredAxis(east_arcmin * 60 * ARCSEC, up_arcmin * 60 * ARCSEC, SMALL, frames=names)
    return after(AxisMeasured(13.0, axis), state=state)


def read(state: NightState, at_s: float, east_arcsec: float, up_arcsec: float, count: int = 1) -> NightState:
    """`count` readings there, a second apart."""
    for index in range(count):
        axis = FollowedAxis(
            east_arcsec * ARCSEC, up_arcsec * ARCSEC, ((8 * SMALL[0][0], 0.0), (0.0, 8 * SMALL[1][1]))
        )
        state = after(AxisFollowed(at_s + index, f"r{at_s}{index}", axis), state=state)
    return state


def refused(state: NightState, event: AnyEvent) -> Refused:
    same, effects = step(state, event)
    assert same is state
    (only,) = effects
    assert isinstance(only, Refused) and all(refused_words(only))
    return only


def test_diagram_in_the_guide_is_the_table() -> None:
    guide = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"```mermaid\n{mermaid_text()}```" in guide


def test_every_row_can_be_reached_from_its_stage_only() -> None:
    rows = [(r.stage, r.event, r.guard_name) for r in TRANSITIONS]
    assert len(rows) == len(set(rows)), "two rows with the same trigger: the second could never be taken"
    for stage, event, _ in rows:
        tail = [r for r in TRANSITIONS if (r.stage, r.event) == (stage, event)]
        assert all(r.guard is not None for r in tail[:-1]), "an unguarded row hides those after it"


def test_the_way_through() -> None:
    state = captured()
    assert state.stage is Stage.ROUGH
    state = read(state, 20.0, 40 * 60, -20 * 60, 2)
    assert state.stage is Stage.ROUGH
    state = read(state, 30.0, 100, -100, 2)
    assert state.stage is Stage.FINE
    assert after(NextAsked(40.0), state=state).stage is Stage.PROOF
    far = read(state, 50.0, 3000, 0, 2)
    assert far.stage is Stage.ROUGH


def test_axis_near_the_pole_skips_the_rough_correction() -> None:
    assert captured(1.0, 0.5).stage is Stage.FINE


def test_effects_ask_for_what_is_needed() -> None:
    night = PaperNight(3)
    state = after(START, NextAsked(1.0))
    state, effects = step(state, FrameSolved(2.0, night.placed("a")))
    assert effects == ()
    night.theta = math.radians(20.0)
    state, effects = step(state, FrameSolved(3.0, night.placed("b")))
    assert effects == (EstimateAxis(state.capture.frames, TargetPole.TRUE),)
    state = captured()
    frame = night.placed("d")
    assert step(state, FrameSolved(20.0, frame))[1] == (FollowAxis(frame),)
    assert step(state, RestartAsked(20.0))[1] == (StartFollowing(state.capture.frames, TargetPole.TRUE),)


def test_capture_keeps_its_frames_and_no_more_than_three_of_one_place() -> None:
    night = PaperNight(3)
    state = after(START, NextAsked(1.0))
    for index in range(6):
        state = after(FrameSolved(2.0 + index, night.placed(f"a{index}")), state=state)
    assert [f.name for f in state.capture.frames] == ["a0", "a1", "a2"]
    assert state.frames_used == 6


@pytest.mark.parametrize(
    ("events", "event"),
    [
        ((), NextAsked(1.0)),
        ((), BackAsked(1.0)),
        ((), TripodBumped(1.0)),
        ((), ScrewTurned(1.0, Screw.AZIMUTH, 0.5)),
        ((), UndoAsked(1.0)),
        ((), TargetChanged(1.0, TargetPole.REFRACTED, 0.9)),
        ((START,), Accepted(1.0)),
        ((START, NextAsked(1.0)), START),
        ((START,), AxisMeasured(1.0, MeasuredAxis(0.0, 0.0, SMALL))),
        ((START,), ResumeAsked(1.0)),
        ((START,), FolderBack(1.0)),
        ((START, NextAsked(1.0)), NextAsked(2.0)),
        ((START, NextAsked(1.0)), ScrewTurned(2.0, Screw.ALTITUDE, 0.5)),
        ((START, NextAsked(1.0)), AxisMeasured(2.0, MeasuredAxis(0.0, 0.0, SMALL, frames=("x", "y")))),
        ((START, PauseAsked(1.0)), PauseAsked(2.0)),
        ((START, PauseAsked(1.0)), FrameUnsolved(2.0, "a", FEW)),
    ],
)
def test_what_has_no_place_changes_nothing_and_says_why(events: tuple[AnyEvent, ...], event: AnyEvent) -> None:
    refused(after(*events), event)


def test_as_advised_needs_an_advised_turn() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 2)
    assert state.handling.asked is not None and state.handling.asked.screw is Screw.AZIMUTH
    refused(state, ScrewTurned(30.0, Screw.ALTITUDE))
    reported = after(ScrewTurned(30.0, Screw.AZIMUTH), state=state)
    assert reported.handling.reports[0].turns == state.handling.asked.turns


def test_reported_turn_is_learned_when_the_axis_rests_again() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 3)
    state = after(ScrewTurned(24.0, Screw.AZIMUTH, -0.5), state=state)
    state = read(state, 25.0, 20 * 60, -20 * 60, 1)
    assert state.azimuth.moves == ()
    state = read(state, 27.0, 20 * 60, -20 * 60, 1)
    (move,) = state.azimuth.moves
    assert move.turns == -0.5 and move.sure
    # 20' on the sky are 20' / cos 52 = 32.5' along the horizon
    assert move.moved_arcmin == pytest.approx(-20.0 / math.cos(math.radians(52.0)), rel=0.01)
    assert state.handling.turns_made == 1 and state.handling.goes == 1


def test_unsaid_turn_is_taken_as_advised_and_a_late_word_confirms_it() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 3)
    state = read(state, 30.0, 20 * 60, -20 * 60, 2)
    (move,) = state.azimuth.moves
    assert move.turns == 0.5 and not move.sure
    confirmed = after(ScrewTurned(31.5, Screw.AZIMUTH, 0.75), state=state)
    assert confirmed.azimuth.moves[-1].turns == 0.75 and confirmed.azimuth.moves[-1].sure
    assert confirmed.handling.reports == ()


def test_motion_across_the_advised_screw_teaches_nothing() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 3)
    state = read(state, 30.0, 42 * 60, 0, 2)  # azimuth was asked for, altitude moved: somebody kicked the tripod
    assert state.azimuth.moves == () and state.altitude.moves == ()


def test_turn_inside_the_backlash_is_remembered_as_no_motion() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 3)
    state = after(ScrewTurned(24.0, Screw.AZIMUTH, 0.5), state=state)
    state = read(state, 25.0, 40 * 60, -20 * 60, 3)
    assert state.azimuth.moves == ()  # too soon to say
    state = read(state, 33.0, 40 * 60, -20 * 60, 1)
    assert len(state.azimuth.moves) == 1 and abs(state.azimuth.moves[0].moved_arcmin) < 0.1


def test_lock_shift_is_measured_and_allowed_for() -> None:
    state = read(captured(0.1, 0.1), 20.0, 6, 6, 3)
    state = read(after(BaseLocked(30.0), state=state), 35.0, 6, 40, 2)
    assert state.locks.shift_rad == pytest.approx((0.0, 34 * ARCSEC), abs=1e-9)
    assert state.locks.aim_rad == pytest.approx((0.0, -34 * ARCSEC), abs=1e-9)
    assert state.aim_rad == (0.0, 0.0)  # locked: what counts is the pole itself
    turned = after(ScrewTurned(40.0, Screw.ALTITUDE, -0.01), state=state)
    assert not turned.locks.tight and turned.aim_rad == state.locks.aim_rad


def test_lock_shift_is_measured_though_hands_come_before_words() -> None:
    """Frames see the shift some seconds before the person says that the locks are tight."""
    state = read(captured(0.1, 0.1), 20.0, 6, 6, 3)
    state = read(state, 30.0, 6, 40, 2)
    assert state.altitude.moves == () and state.handling.turns_made == 0  # no turn was asked for
    state = read(after(BaseLocked(36.0), state=state), 42.0, 6, 40, 2)
    assert state.locks.shift_rad == pytest.approx((0.0, 34 * ARCSEC), abs=1e-9)


def test_a_claim_that_a_proof_has_refuted_must_be_surer_the_next_time() -> None:
    """Else the night goes to and fro between a claim of 95 % and a proof that wants 99 %."""
    state = read(captured(0.1, 0.1), 20.0, 23, 0, 3)
    edge = replace(state, plan=replace(state.plan, tolerance_rad=25.5 * ARCSEC)) if state.plan else state
    assert 0.9 < edge.inside < 0.999
    for tolerance in (24.0, 25.0, 26.0, 27.0, 28.0, 29.0, 30.0):
        state = replace(edge, plan=replace(edge.plan, tolerance_rad=tolerance * ARCSEC)) if edge.plan else edge
        if state.stop_here and not replace(begun(state), refuted=True).stop_here:
            return
    raise AssertionError("no claim lay between the two")


def test_bump_measures_anew_but_keeps_what_the_screws_taught() -> None:
    state = read(captured(), 20.0, 40 * 60, -20 * 60, 3)
    state = read(after(ScrewTurned(24.0, Screw.AZIMUTH, -0.5), state=state), 30.0, 20 * 60, -20 * 60, 2)
    bumped = after(TripodBumped(40.0), state=state)
    assert bumped.stage is Stage.CAPTURE
    assert bumped.capture.frames == () and bumped.capture.axis is None
    assert bumped.azimuth == state.azimuth
    undone = after(UndoAsked(41.0), state=bumped)
    assert undone.stage is state.stage and undone.capture == state.capture and undone.azimuth == state.azimuth


def test_back_to_the_capture_keeps_frames_only_while_nothing_was_turned() -> None:
    fresh = captured()
    assert after(BackAsked(20.0), state=fresh).capture.frames == fresh.capture.frames
    moved = read(fresh, 20.0, 2400, -1200, 2)
    assert after(BackAsked(30.0), state=moved).capture.frames == ()


def test_target_and_tolerance_change_in_any_stage() -> None:
    state = captured()
    state, effects = step(state, TargetChanged(20.0, TargetPole.REFRACTED, math.radians(52.02)))
    assert effects == (EstimateAxis(state.capture.frames, TargetPole.REFRACTED),)
    assert state.stage is Stage.ROUGH and state.plan is not None and state.plan.target is TargetPole.REFRACTED
    assert after(ToleranceChanged(21.0, 60 * ARCSEC), state=state).plan == replace(
        state.plan, tolerance_rad=60 * ARCSEC, origin=ToleranceOrigin.HAND
    )


def test_overlays_lie_over_any_stage() -> None:
    state = after(PauseAsked(20.0), state=captured())
    refused(state, FrameSolved(21.0, PaperNight(3).placed("x")))
    state = after(ResumeAsked(22.0), FolderLost(23.0, "The share is gone."), state=state)
    assert state.folder_lost and not state.paused
    assert not after(FolderBack(24.0), Ticked(25.0), state=state).folder_lost


def test_three_frames_without_stars_are_clouds_until_one_solves() -> None:
    state = captured()
    for index in range(3):
        trouble = FrameUnsolved(20.0 + index, f"u{index}", FEW, 3)
        state = after(trouble, state=state)
    assert state.clouded and state.trouble is not None and state.trouble.count == 3
    state = after(FrameSolved(30.0, PaperNight(3).placed("s")), state=state)
    assert not state.clouded and state.trouble is None


def test_proof_confirms_contradicts_or_waits() -> None:
    state = after(NextAsked(40.0), state=read(captured(0.1, 0.1), 20.0, 6, 6, 4))
    assert state.stage is Stage.PROOF
    night = PaperNight(3)
    for index, theta in enumerate((-30.0, -70.0, -110.0)):
        night.theta = math.radians(theta)
        state = after(FrameSolved(50.0 + index, night.placed(f"p{index}")), state=state)
    names = tuple(f.name for f in state.proof.frames)
    good = MeasuredAxis(7 * ARCSEC, 4 * ARCSEC, SMALL, frames=names)
    proved, effects = step(state, AxisMeasured(60.0, good))
    assert proved.proved and effects == (KeepNight(),)
    bad = step(state, AxisMeasured(60.0, replace(good, up_rad=50 * ARCSEC)))[0]
    assert bad.stage is Stage.FINE and bad.capture.axis == replace(good, up_rad=50 * ARCSEC)
    suspect = step(state, AxisMeasured(60.0, replace(good, suspect="p1")))[0]
    assert suspect.stage is Stage.PROOF and not suspect.proved
    accepted, effects = step(state, Accepted(61.0))
    assert accepted.accepted and not accepted.proved and effects == (KeepNight(),)
    refusedly = after(AxisRefused(62.0, TooAlike(0.01, 0.8)), state=state)
    assert refusedly.proof.refusal is not None


def test_time_never_runs_back() -> None:
    state = after(START, Ticked(50.0), Ticked(20.0))
    assert state.now_s == 50.0
