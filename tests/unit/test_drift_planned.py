"""How long a drift still has to be watched, and where: against least squares over every single frame."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from drift_nights import AIR, mount_off, site_at, watched
from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftProof, DriftResult, measure
from polewright.core.drift.plan import best_positions, predicted_sigmas_rad
from polewright.core.drift.remaining import Remaining, cadence_s, remaining

CADENCE_S = 3.0
NOISE_RAD = 1.0 / ARCSEC_PER_RAD


def by_frames(watches: list[tuple[float, float]]) -> np.ndarray:
    """Covariance (2, 2) of (east, up), rad^2, from frames every 3 s in fields of (hour angle in h, s): a level for
    each field, and the rate east cos H + up sin H of the textbook of drift."""
    rows = []
    for number, (hour, seconds) in enumerate(watches):
        for t in np.arange(0.0, seconds, CADENCE_S):
            level = [1.0 if k == number else 0.0 for k in range(len(watches))]
            angle = math.radians(15.0 * hour)
            rate = SIDEREAL_RATE_RAD_S * t * np.array([math.cos(angle), math.sin(angle)])
            rows.append([*rate, *level])
    design = np.array(rows)
    return np.asarray(np.linalg.inv(design.T @ design)[:2, :2] * NOISE_RAD**2)


def so_far(first_h: float, first_s: float, second_h: float, second_s: float) -> tuple[DriftProof, DriftResult]:
    """A drift whose sigmas are those of `by_frames`, at the second of two fields."""
    rng = np.random.default_rng(1)
    places = ((first_h, 10.0), (second_h, 40.0))
    proof = watched(mount_off(45.0, 5.0, -3.0), 45.0, places, 120.0, CADENCE_S, 0.5, rng)
    result = measure(proof)
    assert isinstance(result, DriftResult)
    covariance = by_frames([(first_h, first_s), (second_h, second_s)])
    exact = ((covariance[0, 0], covariance[0, 1]), (covariance[1, 0], covariance[1, 1]))
    here = replace(result.positions[-1], seconds=second_s, hour_angle_rad=math.radians(15.0 * second_h))
    positions = (*result.positions[:-1], here)
    told = replace(result, covariance_rad2=exact, noise_rad=NOISE_RAD, inflation=1.0, positions=positions)
    return proof, told


def larger_sigma(watches: list[tuple[float, float]]) -> float:
    return float(np.sqrt(np.diag(by_frames(watches)).max()))


def test_the_cadence_is_that_of_the_frames_of_a_field() -> None:
    proof, _ = so_far(0.0, 300.0, -5.0, 300.0)
    assert cadence_s(proof) == CADENCE_S and cadence_s(replace(proof, samples=())) == 5.0


def test_what_is_sure_enough_needs_nothing_more() -> None:
    proof, result = so_far(0.0, 300.0, -5.0, 300.0)
    assert remaining(proof, result, result.sigma_rad) == Remaining(0.0)
    assert remaining(proof, result, 0.99 * result.sigma_rad).seconds > 0.0


@pytest.mark.parametrize("hour", [-5.0, -4.0, 4.5])
def test_a_second_field_is_watched_until_all_frames_together_say_so(hour: float) -> None:
    """The first field was long, so what is left belongs to the field that tells the altitude: stay."""
    proof, result = so_far(0.0, 900.0, hour, 200.0)
    wanted = 0.5 * result.sigma_rad
    left = remaining(proof, result, wanted)
    assert left.component == "" and left.there_s == 0.0
    exact = brentq(lambda s: larger_sigma([(0.0, 900.0), (hour, 200.0 + s)]) - wanted, 1.0, 3000.0, xtol=1.0)
    assert left.here_s == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize(("hour", "there", "component"), [(-4.0, 0.0, "azimuth"), (3.0, 0.0, "azimuth")])
def test_off_the_meridian_the_meridian_is_what_is_missing(hour: float, there: float, component: str) -> None:
    proof, result = so_far(0.0, 100.0, hour, 900.0)
    wanted = 0.5 * result.sigma_rad
    left = remaining(proof, result, wanted)
    assert left.component == component and left.here_s == 0.0
    exact = brentq(lambda s: larger_sigma([(0.0, 100.0), (hour, 900.0), (there, s)]) - wanted, 10.0, 3000.0, xtol=1.0)
    assert left.there_s == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize(("hour", "there"), [(0.0, -5.0), (0.4, -5.0), (0.6, 5.0), (2.0, 5.0), (-2.0, -5.0)])
def test_on_the_meridian_a_field_five_hours_to_the_nearer_side_is_missing(hour: float, there: float) -> None:
    """From half an hour west of the meridian on it is the western one, which needs no flip."""
    proof, result = so_far(there, 100.0, hour, 900.0)
    wanted = 0.4 * result.sigma_rad
    left = remaining(proof, result, wanted)
    assert left.component == "altitude" and left.here_s == 0.0
    exact = brentq(
        lambda s: larger_sigma([(there, 100.0), (hour, 900.0), (there, s)]) - wanted, 10.0, 3000.0, xtol=1.0
    )
    assert left.there_s == pytest.approx(exact, rel=0.05)


def test_what_no_three_hours_would_do_is_never() -> None:
    proof, result = so_far(0.0, 300.0, -5.0, 300.0)
    best = larger_sigma([(0.0, 300.0 + 10800.0), (-5.0, 300.0 + 10800.0)])
    assert remaining(proof, result, 0.97 * best).seconds == math.inf
    assert 18000.0 < remaining(proof, result, 1.03 * best).seconds < 21600.0


@pytest.mark.parametrize("hours", [(0.0, -5.0), (0.5, 4.0)])
def test_the_sigmas_foretold_are_those_of_all_frames(hours: tuple[float, float]) -> None:
    told = predicted_sigmas_rad(hours, 300.0, NOISE_RAD, CADENCE_S)
    assert told == pytest.approx(np.sqrt(np.diag(by_frames([(h, 300.0) for h in hours]))), rel=0.02)


@pytest.mark.parametrize(("hour", "known"), [(0.0, 0), (6.0, 1), (-6.0, 1)])
def test_one_field_alone_leaves_the_other_direction_open(hour: float, known: int) -> None:
    told = predicted_sigmas_rad([hour], 300.0, NOISE_RAD, CADENCE_S)
    slope = NOISE_RAD * math.sqrt(12.0 * CADENCE_S) / 300.0**1.5 / SIDEREAL_RATE_RAD_S
    assert told[known] == pytest.approx(slope, rel=0.01) and told[1 - known] == math.inf


@pytest.mark.parametrize("lat_deg", [52.0, -34.0, 15.0, 0.0])
def test_the_two_fields_stand_where_a_drift_is_told_best(lat_deg: float) -> None:
    """East is 4 to 6 h before the meridian; both altitudes by spherical trigonometry, and high enough for the air."""
    for side, sign in (("east", -1.0), ("west", 1.0)):
        meridian, aside = best_positions(site_at(lat_deg), AIR, side)
        assert meridian.hour_angle_h == 0.0 and 4.0 <= sign * aside.hour_angle_h <= 6.0
        for spot in (meridian, aside):
            phi, dec, hour = np.radians([lat_deg, spot.declination_deg, 15.0 * spot.hour_angle_h])
            sine = math.sin(phi) * math.sin(dec) + math.cos(phi) * math.cos(dec) * math.cos(hour)
            assert spot.altitude_deg == pytest.approx(math.degrees(math.asin(sine)), abs=0.2)
        assert meridian.altitude_deg >= 44.9 and math.copysign(1.0, aside.declination_deg * (lat_deg or 1.0)) == 1.0
        reach = abs(lat_deg) > 25.0
        assert aside.altitude_deg >= (29.9 if reach else 5.0)
