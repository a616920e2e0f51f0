"""What a proof is worth once something comes between: another word, another tolerance, a bump, the imaging run.

Invented readings: what is checked is which of them may be believed.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftSample, largest_step, with_sample
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reading import DriftField, DriftReading
from polewright.core.drift.reasons import NotTracking
from polewright.core.model import Site, TargetPole
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.actions import settling_s
from polewright.core.night.effects import FitDrift, StartFollowing
from polewright.core.night.events import (
    AnyEvent,
    DriftMeasured,
    DriftRefused,
    FrameSolved,
    NextAsked,
    TargetChanged,
    ToleranceChanged,
    TripodBumped,
    UndoAsked,
)
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.rest import Reading, Rest
from polewright.core.night.states import Capture, NightPlan, NightState, Running, Stage, begun
from polewright.core.night.table import step
from polewright.core.night.witness import witnessed_offset
from polewright.core.sky.places import standard_atmosphere
from polewright.words.coach import say
from vigil_nights import Run
from watch_night import aligned_events, imaging_events, run_through

ARCSEC = 1.0 / ARCSEC_PER_RAD
SITE = Site(52.0, 10.0)
PLAN = NightPlan(SITE, TargetPole.TRUE, math.radians(52.0), 60.0 * ARCSEC, air=standard_atmosphere(SITE))
FIELDS = tuple(DriftField(hour, 0.2, 40, 300.0, 0.0, 1e-9) for hour in (0.0, -1.3))


def drifted() -> tuple[DriftSample, ...]:
    samples: tuple[DriftSample, ...] = ()
    for at_s in np.arange(0.0, 240.0, 3.0):
        samples = with_sample(samples, SITE, float(at_s), star_enu(SITE, SIDEREAL_RATE_RAD_S * at_s, 0.2), 1e-6)
    return samples


def square(arcsec: float) -> tuple[tuple[float, float], tuple[float, float]]:
    return ((arcsec * ARCSEC) ** 2, 0.0), (0.0, (arcsec * ARCSEC) ** 2)


def drift_says(east: float, up: float, sigma: float) -> DriftReading:
    return DriftReading(80, east * ARCSEC, up * ARCSEC, square(sigma), 1e-6, 0.0, 3.0, FIELDS)


def before(east: float, up: float, sigma: float, by_drift: bool = False) -> NightState:
    """In the proof, the axis known to be there; a drift of eighty frames is waiting for its reading."""
    run, _ = run_through(aligned_events())
    frame = run.last_frame
    assert frame is not None
    axis = MeasuredAxis(east * ARCSEC, up * ARCSEC, square(sigma), frames=(frame.name,))
    capture = Capture((frame,), (0.0,), axis, by_drift=by_drift)
    watch = DriftWatch(stood=True, samples=drifted(), frame=frame, begun=frame.utc_mid)
    return Running(
        stage=Stage.PROOF, now_s=4000.0, plan=PLAN, capture=capture, drift=watch, last_frame=frame, proof=Capture()
    )


def after(state: NightState, *events: AnyEvent) -> NightState:
    for event in events:
        state, _ = step(state, event)
    return state


def test_two_drifts_that_contradict_each_other_are_no_proof_together() -> None:
    """Mixed by their sigmas they would lie well inside; at five sigmas from each other one of them is wrong."""
    state = after(before(0.0, 0.0, 8.0, by_drift=True), DriftMeasured(4001.0, drift_says(75.0, 0.0, 12.0)))
    assert not state.proved
    agreeing = after(before(0.0, 0.0, 8.0, by_drift=True), DriftMeasured(4001.0, drift_says(12.0, 0.0, 12.0)))
    assert agreeing.proved


@pytest.mark.parametrize(("turn_arcsec", "proved"), [(300.0, False), (40.0, True), (5.0, True)])
def test_a_drift_does_not_overrule_what_puts_the_axis_outside(turn_arcsec: float, proved: bool) -> None:
    """Declination guiding left on makes any mount drift like an aligned one."""
    state = after(before(turn_arcsec, 0.0, 4.0), DriftMeasured(4001.0, drift_says(0.0, 0.0, 5.0)))
    assert state.proved is proved
    if not proved:
        assert "guiding" in say(advise(state)).why
        assert witnessed_offset(begun(state)) is None, "the report does not flatter"
        assert after(state, NextAsked(4002.0)).stage is Stage.FINE, "the person decides"


def test_what_is_shown_and_watched_from_is_what_was_proved() -> None:
    state = after(before(5.0, 0.0, 4.0), DriftMeasured(4001.0, drift_says(-5.0, 0.0, 4.0)))
    shown = witnessed_offset(begun(state))
    assert state.proved and shown is not None and shown.east_rad * ARCSEC_PER_RAD == pytest.approx(0.0, abs=0.1)


def test_a_drift_that_knows_nothing_yet_is_no_news() -> None:
    """Stopped in its first minute it may say 40 degrees; what the turn knew to 8″ is what the report tells."""
    state = after(before(5.0, 0.0, 8.0), DriftMeasured(4001.0, drift_says(0.0, -144000.0, 20000.0)))
    assert not state.proved and witnessed_offset(begun(state)) is None
    sure = after(before(5.0, 0.0, 8.0), DriftMeasured(4001.0, drift_says(5.0, -150.0, 20.0)))
    shown = witnessed_offset(begun(sure))
    assert shown is not None and shown.up_rad * ARCSEC_PER_RAD == pytest.approx(-150.0), "but a sure one is"


def test_another_tolerance_judges_the_same_evidence() -> None:
    proved = after(before(5.0, 0.0, 4.0), DriftMeasured(4001.0, drift_says(5.0, 0.0, 4.0)))
    assert proved.proved
    assert after(proved, ToleranceChanged(4002.0, 90.0 * ARCSEC)).proved
    finer = after(proved, ToleranceChanged(4002.0, 6.0 * ARCSEC))
    assert not finer.proved and finer.drift == proved.drift, "no other frame has come: the drift goes on"


def imaging(state: NightState) -> NightState:
    events = list(imaging_events(Run(fields=((-2.0, 35.0, 0.05),), clouds_per_night=0, gusts=0.0)))
    return after(replace(state, now_s=0.0), *events)


def test_frames_of_the_imaging_run_are_never_counted_into_a_proof() -> None:
    """They may be guided, and a guided mount does not drift in declination."""
    proved = after(before(5.0, 0.0, 4.0), DriftMeasured(4001.0, drift_says(5.0, 0.0, 4.0)))
    run = imaging(proved)
    assert run.watching is not None and run.drift == proved.drift
    finer = after(run, ToleranceChanged(run.now_s, 6.0 * ARCSEC))
    assert not finer.proved and finer.watching is None
    assert finer.drift == DriftWatch(stood=True) and finer.proof == Capture()
    unsaid = after(replace(begun(run), undo=replace(begun(proved), proved=False)), UndoAsked(run.now_s))
    assert not unsaid.proved and unsaid.drift == DriftWatch(stood=True)


def test_a_bumped_tripod_settles_anew() -> None:
    state = before(0.0, 0.0, 8.0, by_drift=True)
    bumped = after(state, TripodBumped(4010.0))
    assert bumped.drift == DriftWatch(stood=False) and bumped.set_down_s == 4010.0
    frame = state.last_frame
    assert frame is not None
    _, effects = step(bumped, FrameSolved(4012.0, frame))
    (fit,) = [e for e in effects if isinstance(e, FitDrift)]
    assert fit.rested_s == pytest.approx(2.0)
    waiting = replace(begun(bumped), stage=Stage.PROOF, now_s=4012.0)
    assert settling_s(begun(waiting)) == pytest.approx(settling_s(replace(begun(waiting), set_down_s=0.0, now_s=2.0)))


def test_a_drift_that_tells_nothing_any_more_is_not_followed() -> None:
    state = replace(begun(before(0.0, 0.0, 8.0)), stage=Stage.CAPTURE, capture=Capture())
    known = after(state, DriftMeasured(4001.0, replace(drift_says(900.0, 0.0, 20.0), here_s=60.0)))
    assert known.capture.axis is not None
    lost = after(known, DriftRefused(4002.0, NotTracking()))
    assert lost.capture == Capture() and after(lost, NextAsked(4003.0)).stage is Stage.CAPTURE


@pytest.mark.parametrize(("back_s", "left"), [(-3600.0, 1), (-30.0, 80)])
def test_a_clock_that_is_set_back_begins_the_drift_anew(back_s: float, left: int) -> None:
    """Waiting until the right clock has caught up with the wrong one would be an hour of saying nothing."""
    state = before(0.0, 0.0, 8.0)
    frame = state.last_frame
    assert frame is not None and state.drift is not None
    late = replace(frame, utc_mid=frame.utc_mid.plus_seconds(state.drift.samples[-1].at_s + back_s))
    seen = after(state, FrameSolved(4001.0, late))
    assert seen.drift is not None and len(seen.drift.samples) == left and seen.drift.stood


def test_going_by_the_drift_keeps_what_the_person_said() -> None:
    state = before(300.0, 0.0, 4.0)
    assert state.drift is not None
    state = replace(begun(state), drift=replace(state.drift, side="west"))
    state = after(state, DriftMeasured(4001.0, drift_says(100.0, 0.0, 5.0)), NextAsked(4002.0))
    assert state.stage is Stage.FINE and state.drift == DriftWatch("west", True)


def test_another_pole_in_the_proof_keeps_the_axis_as_it_was_followed() -> None:
    """The way back leads to readings against the new pole, not against the old one."""
    state = before(1800.0, 0.0, 4.0)
    rest = Rest((Reading(3990.0, 5.0 * ARCSEC, 8.0 * ARCSEC, square(5.0)),))
    raised = math.radians(52.0) + 45.0 * ARCSEC
    changed, effects = step(replace(begun(state), rest=rest), TargetChanged(4001.0, TargetPole.REFRACTED, raised))
    assert changed.offset is not None
    assert changed.offset.east_rad * ARCSEC_PER_RAD == pytest.approx(5.0)
    assert changed.offset.up_rad * ARCSEC_PER_RAD == pytest.approx(8.0 - 45.0)
    (start,) = [e for e in effects if isinstance(e, StartFollowing)]
    assert start.target is TargetPole.REFRACTED


def test_watching_that_leads_nowhere_says_so() -> None:
    endless = replace(drift_says(0.0, 0.0, 90.0), here_s=math.inf)
    state = after(before(0.0, 0.0, 8.0), DriftMeasured(4001.0, endless))
    assert not state.proved and "hours would not be enough: expose longer" in say(advise(state)).why


@pytest.mark.parametrize("count", [12, 40, 300])
def test_the_step_is_that_of_a_least_squares_fit(count: int) -> None:
    """Against numpy's own least squares on every cut."""
    rng = np.random.default_rng(count)
    at_s = np.sort(rng.uniform(0.0, 400.0, count))
    values = rng.normal(size=count) + 0.01 * at_s + 4.0 * (np.arange(count) >= count // 3)
    found = largest_step(at_s, values)
    best = (0.0, 0, -1.0)
    for cut in range(4, count - 4):
        step_column = (np.arange(count) >= cut).astype(float)
        design = np.stack([np.ones(count), at_s, step_column], axis=1)
        solution, (left,), *_ = np.linalg.lstsq(design, values, rcond=None)
        if best[2] < 0.0 or left < best[2]:
            best = (float(solution[2]), cut, float(left))
    assert found[0] == pytest.approx(best[0]) and found[1] == best[1]
