"""The drift method's closed forms against worked tables, and what refraction fakes."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.drift.plan import best_positions, predicted_seconds, predicted_sigmas_rad
from polewright.core.drift.rates import drift_rates, refraction_bias_rad, star_enu
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.plan.exposure_blur import displaced_pole
from polewright.core.sky.places import true_pole_enu

ARCSEC_PER_MIN = ARCSEC_PER_RAD * 60.0
LAT_40 = Site(40.0, 0.0)
SEA_LEVEL = Atmosphere(1010.0, 10.0, 0.0, 0.574)


def test_one_arcminute_on_the_meridian() -> None:
    """The rate constant, 0.262516 "/min per arcmin (15.75 per degree), away from the pole for an axis too far east.

    Direction rules: Barrett, Measuring Polar Axis Alignment Error, 3rd ed. (2016).
    """
    arcmin = 1.0 / ARCMIN_PER_RAD
    assert drift_rates(arcmin, 0.0, 0.0, 0.3).dec_p * ARCSEC_PER_MIN == pytest.approx(-0.262516, abs=1e-6)
    assert drift_rates(0.0, arcmin, -np.pi / 2, 0.9).dec_p * ARCSEC_PER_MIN == pytest.approx(0.262516, abs=1e-6)
    assert drift_rates(0.0, arcmin, np.pi / 2, 0.9).dec_p < 0.0


@pytest.mark.parametrize(
    ("lat_deg", "hour_h", "dec_p_deg", "first_order", "exact"),
    [
        (40.0, 0.0, 0.0, -1.4077, -1.4091),
        (40.0, -6.0, 0.0, -1.0501, -1.0491),
        (40.0, -3.0, 40.0, -1.7379, -1.7386),
        (-35.0, -3.0, 40.0, -1.8069, -1.8077),
    ],
)
def test_drift_of_seven_and_four_arcminutes(
    lat_deg: float, hour_h: float, dec_p_deg: float, first_order: float, exact: float
) -> None:
    """7' of azimuth east on the horizon and 4' too low, "/min. Table computed apart with plain vectors (2026)."""
    east = 7.0 * np.cos(np.radians(lat_deg)) / ARCMIN_PER_RAD
    up = -4.0 / ARCMIN_PER_RAD
    hour, dec = np.radians(15.0 * hour_h), np.radians(dec_p_deg)
    assert drift_rates(east, up, hour, dec).dec_p * ARCSEC_PER_MIN == pytest.approx(first_order, abs=1e-4)
    assert _exact_rate(lat_deg, 7.0, -4.0, hour, dec) == pytest.approx(exact, abs=0.001)


def _exact_rate(lat_deg: float, azimuth_east: float, up: float, hour: float, dec: float) -> float:
    """Apparent drift toward the elevated pole, "/min, over one minute from `hour`: declination about the axis."""
    lat, side = np.radians(lat_deg), np.sign(lat_deg)
    alt, az = abs(lat) + up / ARCMIN_PER_RAD, azimuth_east / ARCMIN_PER_RAD
    axis = np.array([np.cos(alt) * np.sin(az), side * np.cos(alt) * np.cos(az), np.sin(alt)])
    hours = hour + SIDEREAL_RATE_RAD_S * np.array([-0.5, 0.5])
    s = star_enu(Site(lat_deg, 0.0), hours, dec)
    d = np.arcsin(s @ axis)
    return float(d[1] - d[0]) * ARCSEC_PER_MIN


def test_covington_worked_value() -> None:
    """Polar distance acos(cos h cos d sin e + sin d cos e), Covington 1999, app. B: e = 0.25 deg, h = 90, d = 40 deg.

    Ten minutes from there with his 15 deg/h give 39.254", with the sidereal rate 39.361".
    """
    error, dec = np.radians(0.25), np.radians(40.0)
    for rate_deg_h, expected in ((15.0, 39.254), (15.041067, 39.361)):
        hours = np.pi / 2.0 + np.array([0.0, np.radians(rate_deg_h / 6.0)])
        distance = np.arccos(np.cos(hours) * np.cos(dec) * np.sin(error) + np.sin(dec) * np.cos(error))
        assert (distance[1] - distance[0]) * ARCSEC_PER_RAD == pytest.approx(expected, abs=0.002)
    # the same with our vectors: an axis 0.25 deg off, the star a quarter turn from the direction of the error
    axis = displaced_pole(true_pole_enu(LAT_40), 0.0, -error)
    s = star_enu(LAT_40, np.pi / 2.0 + SIDEREAL_RATE_RAD_S * np.array([0.0, 600.0]), dec)
    moved = np.arcsin(s @ axis)
    assert abs(moved[1] - moved[0]) * ARCSEC_PER_RAD == pytest.approx(39.361, abs=0.01)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_all_three_motions_against_exact_rotations(side: float) -> None:
    """The relative turn of sky and camera is w (q - N); its three components at the star, to second order."""
    site = Site(48.0 * side, 0.0)
    pole = true_pole_enu(site)
    east, up = 6.0 / ARCMIN_PER_RAD, -9.0 / ARCMIN_PER_RAD
    axis = displaced_pole(pole, east, up)
    for hour, dec in ((-0.7, 0.4), (1.9, 1.1), (0.2, -0.5)):
        s = star_enu(site, hour, dec)
        turn = SIDEREAL_RATE_RAD_S * side * (axis - pole)
        to_pole = star_enu(site, hour, dec + np.pi / 2.0)
        eastward = side * np.cross(to_pole, s)
        rates = drift_rates(east, up, hour, dec, side)
        motion = np.cross(turn, s)
        assert motion @ to_pole == pytest.approx(rates.dec_p, abs=2e-9)
        assert motion @ eastward == pytest.approx(rates.east, abs=2e-9)
        assert turn @ s == pytest.approx(rates.rotation, abs=2e-9)


@pytest.mark.parametrize(
    ("hour_h", "dec_deg", "true_pole", "refracted_pole"),
    [
        (-4, 0, -2.73, -1.73),
        (-5, 0, -10.58, -9.48),
        (-3, 0, -1.13, -0.32),
        (-4, 30, -0.96, 0.03),
        (-6, 60, -1.52, -0.38),
        (-6, 70, -1.30, -0.15),
        (-6, 80, -1.18, -0.04),
        (0, 0, 0.0, 0.0),
    ],
)
def test_what_refraction_fakes(hour_h: float, dec_deg: float, true_pole: float, refracted_pole: float) -> None:
    """Arcmin, latitude 40 at sea level, perfect axis. Table computed apart through ERFA apparent places (2026);
    11 degrees high (-5 h, 0) by rays followed step by step (tests/rays.py); ERFA's formula gives 0.1' less."""
    hour, dec = np.radians(15.0 * hour_h), np.radians(dec_deg)
    for axis, expected in ((TargetPole.TRUE, true_pole), (TargetPole.REFRACTED, refracted_pole)):
        bias = refraction_bias_rad(LAT_40, SEA_LEVEL, hour, dec, axis) * ARCMIN_PER_RAD
        assert bias == pytest.approx(expected, abs=0.05 if hour_h == -5 else 0.015)
        west = refraction_bias_rad(LAT_40, SEA_LEVEL, -hour, dec, axis) * ARCMIN_PER_RAD
        assert west == pytest.approx(-bias, abs=1e-6)


def test_certainty_of_two_positions() -> None:
    """60 frames of 1" in 120 s at H = 0 and -6 h, -4 h: 0.852' and 0.852', 1.101' (Monte Carlo 0.85, 1.115)."""
    quarter = predicted_sigmas_rad((0.0, -6.0), 120.0, 1.0 / ARCSEC_PER_RAD, 2.0)
    four = predicted_sigmas_rad((0.0, -4.0), 120.0, 1.0 / ARCSEC_PER_RAD, 2.0)
    assert np.array(quarter) * ARCMIN_PER_RAD == pytest.approx([0.852, 0.852], abs=0.002)
    assert np.array(four) * ARCMIN_PER_RAD == pytest.approx([0.852, 1.100], abs=0.002)
    alone = predicted_sigmas_rad((0.0,), 120.0, 1.0 / ARCSEC_PER_RAD, 2.0)
    assert alone[0] == pytest.approx(quarter[0]) and np.isinf(alone[1])
    time = predicted_seconds((0.0, -6.0), 0.852 / ARCMIN_PER_RAD, 1.0 / ARCSEC_PER_RAD, 2.0)
    assert time == pytest.approx(120.0, rel=0.002)


@pytest.mark.parametrize("lat_deg", [-62.0, -35.0, -12.0, 0.0, 25.0, 40.0, 52.0, 70.0])
@pytest.mark.parametrize("side", ["east", "west"])
def test_where_to_point(lat_deg: float, side: str) -> None:
    """Azimuth on the meridian above 35 deg; altitude 4 to 6 h off at dec 50 to 75 toward the pole, above 30 deg where
    the sky has it, and where the air fakes little beside the low eastern equator. Common practice, no source."""
    site = Site(lat_deg, 0.0)
    meridian, off = best_positions(site, SEA_LEVEL, side)
    toward = np.sign(lat_deg) or 1.0
    assert abs(meridian.hour_angle_h) < 0.5 and meridian.altitude_deg > 35.0
    assert 4.0 <= abs(off.hour_angle_h) <= 6.0 and np.sign(off.hour_angle_h) == (-1.0 if side == "east" else 1.0)
    assert 49.9 <= off.declination_deg * toward <= 75.1
    assert off.altitude_deg > (30.0 if abs(lat_deg) >= 20.0 else 15.0)
    low = refraction_bias_rad(site, SEA_LEVEL, np.radians(-75.0), 0.0) * ARCMIN_PER_RAD
    assert abs(off.refraction_arcmin) < 0.35 * max(abs(low), 0.2)


def test_stars_turn_about_the_true_pole() -> None:
    """`star_enu` against a plain rotation by -w t about the north celestial pole, in either hemisphere."""
    for lat_deg in (40.0, -35.0):
        site = Site(lat_deg, 0.0)
        north = true_pole_enu(site) * np.sign(lat_deg)
        later = rotation_about(north, -0.3) @ star_enu(site, 0.5, 0.7)
        assert np.allclose(later, star_enu(site, 0.8, 0.7), atol=1e-14)
