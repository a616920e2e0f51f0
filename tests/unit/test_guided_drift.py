"""A guided mount must not be taken for an aligned one while its drift is watched."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from drift_nights import guided, mount_off, site_at, watched
from paper_night import PaperNight
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.live import DriftProof, DriftResult, guiding_refusal, measure
from polewright.core.drift.reading import DriftReading, read_drift, wanted_rad
from polewright.core.drift.reasons import Guided, Held, MaybeGuided, Sign, TooShortToTell
from polewright.core.drift.stillness import field_motion, nothing_moves
from polewright.core.model import TargetPole
from polewright.core.night.advice import Do, DriftGuided
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.drifting.actions import drift_confirms, drift_contradicts, sure_by_drift
from polewright.core.night.events import DriftMeasured
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.states import Capture, NightPlan, NightState, Running, Stage, begun
from polewright.core.night.table import step
from polewright.core.sky.places import standard_atmosphere
from polewright.words.coach import say
from polewright.words.drift import drift_doubt_words

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
TOLERANCE_RAD = 90.0 / ARCSEC_PER_RAD


def result(proof: DriftProof) -> DriftResult:
    found = measure(proof)
    assert isinstance(found, DriftResult)
    return found


@pytest.mark.parametrize(("lat_deg", "noise"), [(50.0, 0.5), (50.0, 1.0), (-35.0, 0.5)])
def test_a_guided_mount_is_seen_through(lat_deg: float, noise: float) -> None:
    found = result(guided(lat_deg, FIELDS, 200.0, 4.0, noise, np.random.default_rng(3)))
    assert found.held and Held() in found.warnings
    assert math.hypot(found.east_rad, found.up_rad) < 2.0 * 60.0 / ARCSEC_PER_RAD, "it looks like an aligned one"


@pytest.mark.parametrize("wave_arcsec", [4.0, 10.0])
def test_a_free_mount_on_the_pole_is_not_doubted(wave_arcsec: float) -> None:
    for seed in range(4):
        spec = mount_off(50.0, 0.05, 0.05, periodic_error_arcsec=wave_arcsec)
        found = result(watched(spec, 50.0, FIELDS, 170.0, 4.0, 0.5, np.random.default_rng(seed)))
        assert not found.held and Held() not in found.warnings


def test_a_drive_without_periodic_error_off_the_pole_is_not_doubted() -> None:
    """The declination drifts by 1.3" a minute for 5' (15" a second times the error)."""
    found = result(watched(mount_off(50.0, 5.0, 5.0), 50.0, FIELDS, 200.0, 4.0, 0.5, np.random.default_rng(1)))
    assert not found.held


def test_what_is_too_short_or_scatters_too_much_tells_nothing() -> None:
    rng = np.random.default_rng(2)
    for seconds, noise in ((100.0, 0.5), (200.0, 6.0)):
        at_s = np.arange(0.0, seconds, 4.0)
        along, left = rng.normal(0.0, noise, (2, at_s.size)) / ARCSEC_PER_RAD
        assert field_motion(at_s, along, left, 0.0, 1e-9).still is None
    assert not nothing_moves([(None, 100.0), (None, 100.0)])
    assert not nothing_moves([(True, 200.0)]), "one short field"
    assert not nothing_moves([(True, 200.0), (False, 200.0)])
    assert nothing_moves([(True, 200.0), (None, 60.0), (True, 150.0)])


def night(reading: DriftReading, proof: DriftProof, stage: Stage) -> NightState:
    """A night in which the RA axis is never turned: the first drift has put the axis on the pole."""
    site = site_at(50.0)
    plan = NightPlan(site, TargetPole.REFRACTED, math.radians(50.0), TOLERANCE_RAD, air=standard_atmosphere(site))
    axis = MeasuredAxis(0.0, 0.0, ((1e-9, 0.0), (0.0, 1e-9)))
    drift = DriftWatch(samples=proof.samples, frame=PaperNight(3).placed("last"), stood=True)
    state = Running(stage=stage, now_s=4000.0, plan=plan, drift=drift)
    return replace(state, capture=Capture(axis=axis, by_drift=True)) if stage is Stage.PROOF else state


def reading_of(proof: DriftProof) -> DriftReading:
    found = read_drift(proof.samples, proof.site, proof.atmosphere, proof.target, wanted_rad(TOLERANCE_RAD), math.inf)
    assert isinstance(found, DriftReading)
    return found


def test_a_night_by_drift_alone_is_not_proved_by_a_guided_mount() -> None:
    proof = guided(50.0, FIELDS, 400.0, 4.0, 0.5, np.random.default_rng(5))
    reading = reading_of(proof)
    assert reading.held and reading.complete
    state, _ = step(night(reading, proof, Stage.PROOF), DriftMeasured(4001.0, reading))
    assert not state.proved and not drift_confirms(begun(state)) and not drift_contradicts(begun(state))
    advice = advise(state)
    assert say(advice).instruction == "Switch guiding off, then begin again." and say(
        advice
    ).why == drift_doubt_words(Held())
    assert advice.action is Do.START_AGAIN
    believed, _ = step(night(reading, proof, Stage.PROOF), DriftMeasured(4001.0, replace(reading, held=False)))
    assert believed.proved, "that is what the check prevents, and what an older record goes on telling"


def test_the_first_drift_does_not_lead_on_by_itself_either() -> None:
    proof = guided(50.0, FIELDS, 400.0, 4.0, 0.5, np.random.default_rng(6))
    reading = reading_of(proof)
    frame = replace(night(reading, proof, Stage.CAPTURE))
    state = replace(begun(frame), drift=replace(frame.drift, reading=reading)) if frame.drift else frame
    assert not sure_by_drift(begun(state))
    assert advise(state).reason == DriftGuided(Sign.STILL)


def test_the_instruction_asks_for_guiding_off() -> None:
    spec = mount_off(50.0, 0.5, 0.5, periodic_error_arcsec=8.0)
    proof = watched(spec, 50.0, FIELDS[:1], 40.0, 4.0, 0.5, np.random.default_rng(1))
    state = night(reading_of(proof), proof, Stage.PROOF)
    assert "guiding off: " in say(advise(state)).instruction


def test_what_every_part_of_a_long_series_says_holds_for_the_whole() -> None:
    """Over hours the air turns even a guided star by more than a still field may move; its thirds are still."""
    found = result(guided(50.0, ((-3.0, 40.0),), 2.0 * 3600.0, 20.0, 0.5, np.random.default_rng(4)))
    assert found.held and Held() in found.warnings


@pytest.mark.parametrize("fields", [FIELDS, FIELDS[:1]])
@pytest.mark.parametrize("periodic_error", [None, 8.0])
@pytest.mark.parametrize("wander", [0.2, 1.5])
def test_a_still_declination_is_no_alignment_until_guiding_is_said_to_be_off(
    wander: float, periodic_error: float | None, fields: tuple[tuple[float, float], ...]
) -> None:
    """Both axes guided, or declination alone: short fields and a wander that hides the rest."""
    for seed in range(4):
        proof = guided(50.0, fields, 120.0, 4.0, 0.5, np.random.default_rng(seed), 0.8 * wander, 0.6, periodic_error)
        assert guiding_refusal(result(proof), None) is not None
        assert guiding_refusal(result(proof), False) == Guided(Sign.SAID)


def test_frames_are_believed_over_the_person_and_the_person_where_they_cannot_tell() -> None:
    both = result(guided(50.0, FIELDS, 240.0, 4.0, 0.5, np.random.default_rng(3), 0.5))
    assert guiding_refusal(both, True) == Guided()
    one = result(guided(50.0, FIELDS[:1], 260.0, 4.0, 0.5, np.random.default_rng(3), 0.5))
    assert guiding_refusal(one, True) == Guided(), "one field of 240 s and more"
    spec = mount_off(50.0, 0.2, 0.2, periodic_error_arcsec=8.0)
    free = result(watched(spec, 50.0, FIELDS, 170.0, 4.0, 0.5, np.random.default_rng(2)))
    assert guiding_refusal(free, None) == MaybeGuided() and guiding_refusal(free, True) is None


def test_nothing_that_stands_still_is_believed_to_be_free_before_a_field_can_show_it() -> None:
    """Both axes guided, 13' off or anywhere; the person says that guiding is off. tests/bench/guided_claims.py has
    more of them: 0 of 200 claimed an alignment."""
    rng = np.random.default_rng(21)
    short = result(guided(50.0, FIELDS[:1], 120.0, 4.0, 0.5, rng, 0.5))
    assert guiding_refusal(short, True) == TooShortToTell(240.0)
    for _ in range(25):
        seconds, wander = float(rng.uniform(120.0, 400.0)), float(rng.uniform(0.2, 1.5))
        held = result(guided(50.0, FIELDS, seconds, 5.0, 0.5, rng, 0.8 * wander, 0.6))
        assert guiding_refusal(held, True) is not None, (seconds, wander)


def test_a_free_mount_is_believed_after_four_minutes() -> None:
    rng = np.random.default_rng(22)
    refused = 0
    for _ in range(25):
        wave = float(rng.uniform(3.0, 15.0))
        spec = mount_off(50.0, 0.3, 0.3, periodic_error_arcsec=wave)
        found = result(watched(spec, 50.0, FIELDS, 240.0, 5.0, 0.7, rng))
        refused += guiding_refusal(found, True) is not None
    assert refused <= 1


def test_a_declination_that_drifts_needs_no_word() -> None:
    spec = mount_off(50.0, 9.0, 9.0, periodic_error_arcsec=8.0)
    drifting = result(watched(spec, 50.0, FIELDS, 120.0, 4.0, 0.5, np.random.default_rng(2)))
    assert guiding_refusal(drifting, None) is None


def test_a_few_frames_in_hours_are_too_few_to_say_that_something_guides() -> None:
    """Seven frames of 20" of scatter: nothing is seen to drift, and nothing shows a guider either."""
    few = result(guided(50.0, FIELDS[:1], 3600.0, 600.0, 20.0, np.random.default_rng(3)))
    assert guiding_refusal(few, True) == TooShortToTell(240.0)
    many = result(guided(50.0, FIELDS[:1], 300.0, 5.0, 0.5, np.random.default_rng(3), 1.2, 0.6))
    assert isinstance(guiding_refusal(many, True), Guided)
