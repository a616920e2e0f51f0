"""A declination that stands still is believed as far as the rest of the frames, or a nudge, bears it out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from drift_nights import Nudging, guided_mount, mount_off, watched
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.guarded import contradicts, guarded, guarded_covariance, may_be_held
from polewright.core.drift.hidden import without_taught
from polewright.core.drift.live import DriftProof, DriftResult, guiding_refusal, measure
from polewright.core.drift.nudge import Nudge, nudge_in
from polewright.core.drift.reading import DriftReading, read_drift, stated_covariance
from polewright.core.drift.reasons import Guided, Jumped, Sign, TooShortToTell
from polewright.core.drift.stillness import FIELD_S
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.simulate.real_mount import RealMount, RealRanges, draw_real_mount
from polewright.words.drift import guiding_words

FIELDS = ((0.0, 10.0), (-5.0, 55.0))
OFF = (9.0, -9.4)  # arcmin: 13' in all


def result(proof: DriftProof) -> DriftResult:
    found = measure(proof)
    assert isinstance(found, DriftResult)
    return found


def guided_far_off(seed: int, both_axes: bool, seconds: float = 300.0, nudge: Nudging | None = None) -> DriftProof:
    spec = mount_off(50.0, *OFF, periodic_error_arcsec=6.0)
    cadence_s = 5.0 if seconds < 1000.0 else 30.0
    rng = np.random.default_rng(seed)
    return guided_mount(spec, 50.0, FIELDS, seconds, cadence_s, 0.5, rng, 0.5, 0.5, both_axes, nudge)


def free(seed: int, nudge: Nudging | None, seconds: float = 300.0) -> DriftProof:
    spec = mount_off(50.0, 0.3, 0.3, periodic_error_arcsec=6.0)
    return watched(spec, 50.0, FIELDS, seconds, 5.0, 0.5, np.random.default_rng(seed), nudge=nudge)


@pytest.mark.parametrize("seed", range(4))
def test_guided_in_declination_alone_is_no_alignment_though_the_person_says_off(seed: int) -> None:
    """By the declination the axis lies within 2'; what is stated reaches as far as the truth, 13' away."""
    proof = guided_far_off(seed, both_axes=False)
    found = result(proof)
    assert math.hypot(found.east_rad, found.up_rad) * ARCMIN_PER_RAD < 2.0, "it looks aligned"
    assert guiding_refusal(found, True) is None and may_be_held(found), "the frames cannot exclude it"
    covariance = np.array(guarded_covariance(guarded(proof, found), found))
    miss = np.array([found.east_rad, found.up_rad]) - np.array(OFF) / ARCMIN_PER_RAD
    assert miss @ np.linalg.solve(covariance, miss) < 9.2


@pytest.mark.parametrize("both_axes", [True, False])
def test_hours_show_by_the_turning_field_where_a_guided_axis_lies(both_axes: bool) -> None:
    """No guider can hold that: 13' turn the field by 13' per radian of the sky's turn."""
    proof = guided_far_off(1, both_axes, seconds=5400.0)
    found = result(proof)
    told = guarded(proof, found)
    apart = np.array([told.east_rad, told.up_rad]) * ARCMIN_PER_RAD - np.array(OFF)
    sigma = np.sqrt(np.diag(np.array(told.covariance_rad2))) * ARCMIN_PER_RAD
    if not both_axes:  # a guider in right ascension leaves the turn of the field alone to tell
        assert np.all(sigma < 1.5) and np.all(np.abs(apart) < 4.0 * sigma)
    assert contradicts(told, found, stated_covariance(proof, found, math.inf, FLEXURE_PRIOR))


@pytest.mark.parametrize("seed", range(3))
def test_a_free_mount_is_borne_out_by_its_field(seed: int) -> None:
    proof = free(seed, None, seconds=400.0)
    found = result(proof)
    assert not contradicts(guarded(proof, found), found, found.covariance_rad2)


@pytest.mark.parametrize("seed", [1, 15, 23])
def test_minutes_of_a_free_mount_of_metal_are_borne_out_by_its_field(seed: int) -> None:
    """Right ascension leaves one direction open by degrees then; all that is asked is what it says at the axis of the
    declination. Sought out there, the three said that they were guided, with chi-squares of 64, 176 and 263."""
    real = draw_real_mount(RealRanges(), seed, "free")
    spec = replace(mount_off(52.3, 0.2, -0.2, periodic_error_arcsec=12.0, periodic_error_s=638.0), real=real)
    whole = watched(spec, 52.3, ((-1.5, 45.0),), 300.0, 3.0, 0.4, np.random.default_rng(seed))
    for count in range(20, 100, 8):
        proof = replace(whole, samples=whole.samples[:count])
        found = result(proof)
        stated = stated_covariance(proof, found, 900.0, FLEXURE_PRIOR)
        assert not contradicts(guarded(proof, found), found, stated), count


@pytest.mark.parametrize("arcsec", [60.0, -45.0])
def test_a_nudge_that_stays_shows_a_free_declination_whatever_the_person_says(arcsec: float) -> None:
    for seed in range(3):
        found = result(free(seed, Nudging(arcsec=arcsec)))
        assert found.nudge is Nudge.STAYED and not found.disturbed
        assert not may_be_held(found) and guiding_refusal(found, None) is None
        miss = np.hypot(found.east_rad - 0.3 / ARCMIN_PER_RAD, found.up_rad - 0.3 / ARCMIN_PER_RAD)
        assert miss < 4.0 * found.sigma_rad < 3.0 / ARCMIN_PER_RAD


@pytest.mark.parametrize("both_axes", [True, False])
@pytest.mark.parametrize(
    "nudge", [Nudging(back_arcsec_s=4.0), Nudging(back_arcsec_s=0.5), Nudging(back_arcsec_s=2.0, wait_s=30.0)]
)
def test_a_nudge_that_is_taken_back_shows_a_guider_whatever_the_person_says(nudge: Nudging, both_axes: bool) -> None:
    for seed in range(3):
        found = result(guided_far_off(seed, both_axes, nudge=nudge))
        assert found.nudge is Nudge.TAKEN_BACK
        assert guiding_refusal(found, True) == Guided(Sign.TAKEN_BACK)


def test_a_guider_that_loses_its_star_lets_the_axis_be_seen_or_the_drift_is_refused() -> None:
    for seed in range(4):
        found = result(guided_far_off(seed, False, nudge=Nudging(lets_go=True)))
        refused = guiding_refusal(found, True) is not None
        miss = np.hypot(*(np.array([found.east_rad, found.up_rad]) * ARCMIN_PER_RAD - np.array(OFF)))
        assert refused or miss < 5.0, "not one that looks aligned"


def test_a_jump_nobody_made_is_a_mishap() -> None:
    found = result(replace(free(1, Nudging()), nudged=False))
    assert found.nudge is None and found.disturbed and any(isinstance(w, Jumped) for w in found.warnings)


@pytest.mark.parametrize("lat_deg", [50.0, -35.0])
@pytest.mark.parametrize(("sag", "pull"), [(20.0, 0.0), (0.0, 30.0), (12.0, -15.0)])
def test_what_a_rig_has_taught_of_its_tube_is_taken_off(lat_deg: float, sag: float, pull: float) -> None:
    """Against a simulated tube that bends as much."""
    straight = mount_off(lat_deg, 3.0, 2.0)
    bent = replace(straight, sag_arcsec=sag, real=replace(RealMount(1), pull_arcsec_rad=pull))
    before, proof = (
        watched(spec, lat_deg, FIELDS, 600.0, 10.0, 1e-3, np.random.default_rng(1)) for spec in (straight, bent)
    )
    taught = Flexure(sag / ARCSEC_PER_RAD, 0.0, pull / ARCSEC_PER_RAD, 0.0, 3)
    right, wrong = result(before), result(proof)
    mended = without_taught(proof, wrong, taught)
    assert np.hypot(wrong.east_rad - right.east_rad, wrong.up_rad - right.up_rad) * ARCSEC_PER_RAD > 8.0
    assert np.hypot(mended.east_rad - right.east_rad, mended.up_rad - right.up_rad) * ARCSEC_PER_RAD < 0.1


def test_a_nudge_that_was_watched_for_too_short_a_time_shows_nothing() -> None:
    """A guider that pulls slowly is still on its way: the declination moves, and tells another axis."""
    found = result(guided_far_off(2, False, seconds=125.0, nudge=Nudging(back_arcsec_s=0.5)))
    assert found.nudge is Nudge.TOO_EARLY
    assert guiding_refusal(found, True) == TooShortToTell(FIELD_S)


def drifting_otherwise() -> DriftProof:
    """Its guider loses the star at the nudge and lets go: the declination stays there, and drifts from then on."""
    return guided_far_off(1, False, nudge=Nudging(at_s=100.0, lets_go=True))


def test_a_drift_that_is_another_one_since_the_nudge_is_not_called_taken_back() -> None:
    found = result(drifting_otherwise())
    assert found.nudge is Nudge.DRIFTS_OTHERWISE
    refusal = guiding_refusal(found, True)
    assert refusal == Guided(Sign.DRIFTS_OTHERWISE)
    told = guiding_words(Guided(Sign.DRIFTS_OTHERWISE)).reason
    assert "drift otherwise" in told and "went back" not in told


@pytest.mark.parametrize("arcsec_min", [0.0, 5.0, 15.0, 25.0])
def test_a_drift_against_a_nudge_soon_after_the_beginning_is_no_guider(arcsec_min: float) -> None:
    """The way the guide tells: a minute of frames, a nudge, two minutes more."""
    at_s = np.arange(0.0, 400.0, 3.0)
    noise = np.random.default_rng(3).normal(0.0, 0.5, at_s.size)
    dec_arcsec = arcsec_min / 60.0 * at_s - 60.0 * (at_s > 60.0) + noise
    for until_s in range(100, 400, 20):
        seen = at_s < until_s
        found = nudge_in(at_s[seen], dec_arcsec[seen] / ARCSEC_PER_RAD)
        assert found is not None and found.what is not Nudge.TAKEN_BACK, until_s
    assert found.what is Nudge.STAYED


@pytest.mark.parametrize("within_s", [25.0, 60.0])
def test_a_nudge_soon_after_the_beginning_that_a_guider_takes_back_is_seen(within_s: float) -> None:
    at_s = np.arange(0.0, 400.0, 3.0)
    noise = np.random.default_rng(3).normal(0.0, 0.5, at_s.size)
    left = np.clip(1.0 - (at_s - 60.0) / within_s, 0.0, 1.0)
    found = nudge_in(at_s, (noise - 60.0 * (at_s > 60.0) * left) / ARCSEC_PER_RAD)
    assert found is not None and found.what is Nudge.TAKEN_BACK


def until(proof: DriftProof, seconds: float) -> DriftProof:
    """Its frames up to so long after the beginning of the last field."""
    last = next(s.at_s for s in proof.samples if s.position == proof.samples[-1].position)
    return replace(proof, samples=tuple(s for s in proof.samples if s.at_s <= last + seconds))


def nudged_in_the_last_field(nudge: Nudging, guided_one: bool = False) -> DriftProof:
    plain, nudged = (
        guided_far_off(4, False, 400.0, push) if guided_one else free(4, push, 400.0) for push in (None, nudge)
    )
    first, last = plain.samples[-1].position - 1, plain.samples[-1].position
    of = [s for s in plain.samples if s.position == first] + [s for s in nudged.samples if s.position == last]
    return replace(nudged, samples=tuple(of))


def left_s(proof: DriftProof) -> float:
    found = read_drift(
        proof.samples, proof.site, proof.atmosphere, proof.target, 1e-3, math.inf, FLEXURE_PRIOR, nudged=True
    )
    assert isinstance(found, DriftReading)
    return found.here_s


def test_a_nudge_in_the_first_seconds_of_a_field_is_not_waited_for_for_ever() -> None:
    """Nothing shows how the stars drifted before it. The time left runs out, and the next nudge is looked at."""
    proof = nudged_in_the_last_field(Nudging(at_s=12.0))
    assert result(until(proof, 60.0)).nudge is Nudge.TOO_EARLY
    promised = [seconds + left_s(until(proof, seconds)) for seconds in (60.0, 80.0, 100.0)]
    assert max(promised) < 130.0 and max(promised) - min(promised) < 15.0
    found = result(until(proof, 200.0))
    assert found.nudge is None and not found.disturbed and may_be_held(found)


def test_what_came_at_the_beginning_is_no_drift_of_a_slow_guider() -> None:
    """It pulls a minute of arc back in two minutes: by those frames the axis would lie two degrees off."""
    proof = nudged_in_the_last_field(Nudging(at_s=12.0, back_arcsec_s=0.5), guided_one=True)
    found = result(until(proof, 170.0))
    assert found.nudge in (None, Nudge.TOO_EARLY, Nudge.TAKEN_BACK, Nudge.DRIFTS_OTHERWISE)
    assert may_be_held(found) or guiding_refusal(found, True) is not None


def test_a_nudge_left_too_early_for_the_next_field_does_not_hold_that_up() -> None:
    first = free(5, Nudging(at_s=250.0), 300.0)
    plain = free(5, None, 300.0)
    samples = [s for s in first.samples if s.position == 0] + [s for s in plain.samples if s.position == 1]
    found = result(replace(first, samples=tuple(samples)))
    assert found.nudge is None and not found.disturbed
    assert left_s(replace(first, samples=tuple(samples))) == 0.0
