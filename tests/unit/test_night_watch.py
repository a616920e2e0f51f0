"""The watch over the imaging run as part of the night: from events alone, quiet until something moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from frame_reasons import FEW
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.night.advice import Do, Done, Mood
from polewright.core.night.advise import advise
from polewright.core.night.effects import Refused, ShiftFound
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import (
    BackAsked,
    FrameSolved,
    FrameUnsolved,
    GuidingSwitched,
    ShiftPutAway,
    TripodBumped,
)
from polewright.core.night.states import NightState, Running, Stage, begun
from polewright.core.night.table import step
from polewright.core.plain import from_plain, to_plain
from polewright.core.vigil.watch import Shift
from polewright.words.coach import say
from polewright.words.objections import refused_words
from vigil_nights import Run, declination_axis, setup_of, slow, sudden
from watch_night import BEGINS_S, aligned_events, imaging_events, run_through

FIELD = ((-2.0, 35.0, 0.6),)
RUN = Run(fields=FIELD, clouds_per_night=0, gusts=0.0)
ONSET_S = 1200.0


def kick(arcsec: float, at_s: float = ONSET_S):  # type: ignore[no-untyped-def]
    axis = setup_of(Run(), np.random.default_rng(1))[1]
    return sudden(at_s, arcsec * declination_axis(axis, FIELD[0][0] + at_s / 3600.0, 35.0))


def sink(arcsec_h: float):  # type: ignore[no-untyped-def]
    axis = setup_of(Run(), np.random.default_rng(1))[1]
    return slow(ONSET_S, arcsec_h * declination_axis(axis, FIELD[0][0] + ONSET_S / 3600.0, 35.0))


@pytest.fixture(scope="module")
def aligned() -> NightState:
    state, _ = run_through(aligned_events())
    assert state.aligned and state.watching is None
    return state


def test_a_quiet_run_is_watched_and_nothing_is_said(aligned: NightState) -> None:
    state, effects = run_through(list(imaging_events(RUN)), aligned)
    assert effects == []
    assert state.watching is not None and state.watching.vigil.shifts == ()
    assert state.watching.free and not state.watching.held, "the worm shows that nothing guides"
    assert state.watching.checked_s == state.now_s
    advice = advise(state)
    assert say(advice).instruction == "Watching. Keep imaging." and advice.mood is Mood.GOOD
    assert advice.action == Done(False)
    assert state.proof == aligned.proof, "frames of the imaging run are no proof"


def test_a_kick_is_told_with_size_and_time_and_can_be_put_away(aligned: NightState) -> None:
    """The truth is the kick that was put into the simulated run: 30 arcseconds."""
    state, effects = run_through(list(imaging_events(RUN, kick(30.0))), aligned)
    found = [e.shift for e in effects if isinstance(e, ShiftFound)]
    assert len(found) == 1 and found[0].sudden
    assert found[0].size_rad * ARCSEC_PER_RAD == pytest.approx(30.0, abs=1.5)
    assert found[0].onset_s == pytest.approx(BEGINS_S + ONSET_S, abs=20.0)
    assert found[0].found_s <= BEGINS_S + ONSET_S + 300.0
    advice = advise(state)
    assert advice.action is Do.MEASURE_AGAIN and advice.mood is Mood.TROUBLE
    assert say(advice).why == "16 min ago, by at least 30″; tonight needs 60″. Check feet and locks first."
    state, _ = step(state, ShiftPutAway(state.now_s))
    assert say(advise(state)).instruction == "Watching. Keep imaging."
    assert "Shifts so far: 1." in say(advise(state)).why


def test_a_small_kick_is_told_as_harmless(aligned: NightState) -> None:
    wide, _ = run_through(aligned_events(tolerance_rad=120.0 / ARCSEC_PER_RAD))
    state, effects = run_through(list(imaging_events(RUN, kick(6.0))), wide)
    assert sum(isinstance(e, ShiftFound) for e in effects) == 1
    advice = advise(state)
    assert say(advice).instruction.endswith("Still good enough.") and isinstance(advice.action, Done)


def test_small_kicks_add_up_and_do_not_hide_a_large_one(aligned: NightState) -> None:
    wide, _ = run_through(aligned_events(tolerance_rad=120.0 / ARCSEC_PER_RAD))
    state, _ = run_through(list(imaging_events(RUN, kick(6.0))), wide)
    assert state.watching is not None
    (small,) = state.watching.vigil.shifts

    def told(*shifts: Shift, seen: int = 0) -> bool:
        assert state.watching is not None
        watching = replace(state.watching, vigil=replace(state.watching.vigil, shifts=shifts), seen=seen)
        return advise(replace(begun(state), watching=watching)).action is Do.MEASURE_AGAIN

    large = replace(small, size_rad=100.0 / ARCSEC_PER_RAD)
    sinking = replace(small, sudden=False, rate_rad_h=60.0 / ARCSEC_PER_RAD)
    assert not told(small) and not told(small, small, seen=1)
    assert told(*[small] * 9, seen=8) and told(large, small) and told(sinking, small)


@pytest.mark.parametrize("wrong_s", [-3600.0, 3600.0])
def test_what_was_found_keeps_its_time_when_the_frames_come_by_another_clock(
    aligned: NightState, wrong_s: float
) -> None:
    """The imaging camera's clock may be an hour off: by it the kick would be an hour from now, or an hour older."""
    state, _ = run_through(list(imaging_events(RUN, kick(30.0))), aligned)
    before, frame = state.watching, state.last_frame
    assert before is not None and frame is not None
    (shift,) = before.vigil.shifts
    other = replace(frame, utc_mid=frame.utc_mid.plus_seconds(20.0 + wrong_s))
    state, _ = step(state, FrameSolved(state.now_s + 20.0, other))
    after = state.watching
    assert after is not None and after.night_s(0.0) == state.now_s and after.vigil.looks == ()
    assert after.night_s(after.vigil.shifts[0].onset_s) == pytest.approx(before.night_s(shift.onset_s))


def test_a_sinking_foot_is_told_with_its_rate_and_how_long_the_tolerance_lasts(aligned: NightState) -> None:
    state, effects = run_through(list(imaging_events(RUN, sink(60.0))), aligned)
    shifts = [e.shift for e in effects if isinstance(e, ShiftFound)]
    assert not any(shift.sudden for shift in shifts)
    assert shifts[0].found_s <= BEGINS_S + ONSET_S + 300.0
    assert shifts[-1].rate_rad_h * ARCSEC_PER_RAD == pytest.approx(60.0, abs=6.0)
    assert "Measure again" in say(advise(state)).instruction and "will last another" in say(advise(state)).why


@pytest.mark.parametrize("every", [1, 4])
def test_dithering_is_recognised_and_is_no_shift(aligned: NightState, every: int) -> None:
    guided = replace(RUN, guided=True, dithers_every=every)
    state, effects = run_through(list(imaging_events(guided)), aligned)
    assert effects == [] and state.watching is not None and state.watching.held


def test_clouds_a_flip_and_a_slew_are_no_shifts(aligned: NightState) -> None:
    fields = ((-0.4, 35.0, 0.4), (0.05, 35.0, 0.4), (-1.0, 60.0, 0.3))
    run = replace(RUN, fields=fields, clouds_per_night=1, gusts=0.01)
    events = list(imaging_events(run))
    clouds = [FrameUnsolved(e.at_s + 1.0, "c", FEW) for e in events[10:14]]
    state, effects = run_through(sorted([*events, *clouds], key=lambda e: e.at_s), aligned)
    assert effects == [] and state.watching is not None and state.watching.vigil.watches == 3


def test_the_person_may_say_what_holds_the_mount(aligned: NightState) -> None:
    refused = step(aligned, GuidingSwitched(700.0, True))[1]
    assert isinstance(refused[0], Refused) and refused_words(refused[0]).cure
    state, _ = run_through(list(imaging_events(RUN))[:3], aligned)
    assert state.watching is not None and state.watching.held, "not known yet: careful"
    state, _ = step(state, GuidingSwitched(700.0, False))
    assert state.watching is not None and not state.watching.held


def test_the_watch_ends_where_the_axis_is_measured_anew(aligned: NightState) -> None:
    state, _ = run_through(list(imaging_events(RUN))[:10], aligned)
    bumped, _ = step(state, TripodBumped(state.now_s))
    assert bumped.stage is Stage.CAPTURE and bumped.watching is None and not bumped.accepted
    back, _ = step(state, BackAsked(state.now_s))
    assert back.stage is Stage.FINE and back.watching is None


def test_the_same_events_give_the_same_watch_and_both_survive_the_log(aligned: NightState) -> None:
    events = [
        *aligned_events(),
        *imaging_events(RUN, kick(30.0)),
        ShiftPutAway(9000.0),
        GuidingSwitched(9001.0, True),
    ]
    live, effects = run_through(events)
    logged = [event_from_plain(to_plain(event)) for event in events]
    again, same = run_through(logged)
    assert again == live and same == effects
    assert from_plain(Running, to_plain(live)) == live


def test_a_state_written_before_there_was_a_watch_is_read(aligned: NightState) -> None:
    plain = to_plain(aligned)
    del plain["watching"]
    assert from_plain(Running, plain) == aligned


def test_the_proof_is_offered_at_another_declination(aligned: NightState) -> None:
    """Common practice, no source: flexure and refraction differ with declination, so other sky is a better witness"""
    turn, _ = run_through(aligned_events()[:-2])
    assert turn.stage is Stage.PROOF and not turn.aligned
    here = aligned.capture.frames[0]
    there = replace(here, centre=replace(here.centre, dec_deg=here.centre.dec_deg + 25.0))
    same, _ = step(turn, FrameSolved(70.0, replace(here, name="proof-1")))
    other, _ = step(turn, FrameSolved(70.0, replace(there, name="proof-1")))
    assert "move declination by 20°" in say(advise(same)).gain
    assert "declination by" not in say(advise(other)).gain
