"""Poles, the directions of `east` and `up`, the default target, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from axis_sky import ARCSEC
from polewright.core.angles import rotation_about, separation_rad
from polewright.core.errors import UsageError
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole, Utc
from polewright.core.sky.places import (
    default_target,
    east_and_up,
    horizontal_to_enu,
    observed_enu,
    offset_from_pole,
    pole_enu,
    refraction_rad,
    standard_atmosphere,
)

AIR = Atmosphere(1010.0)
LATITUDES = [0.0, 1e-6, -1e-6, 12.0, -35.0, 51.9, 89.999, 90.0, -90.0]


@pytest.mark.parametrize("lat", LATITUDES)
@pytest.mark.parametrize("target", list(TargetPole))
def test_the_pole_stands_on_the_meridian_at_its_altitude(lat: float, target: TargetPole) -> None:
    pole = pole_enu(Site(lat, 11.0), AIR, target)
    assert np.linalg.norm(pole) == pytest.approx(1.0, abs=1e-15)
    assert pole[0] == 0.0
    assert pole[1] * (1.0 if lat >= 0.0 else -1.0) >= -1e-9
    altitude = np.degrees(np.arctan2(pole[2], abs(pole[1])))
    lift = target.value * np.degrees(refraction_rad(np.radians(abs(lat)), AIR))
    assert altitude == pytest.approx(abs(lat) + lift, abs=1e-9)


@pytest.mark.parametrize("lat", LATITUDES)
def test_east_and_up_are_across_the_pole_and_continuous(lat: float) -> None:
    site = Site(lat, 11.0)
    pole = pole_enu(site, AIR, TargetPole.REFRACTED)
    east, up = east_and_up(pole, site)
    assert abs(east @ pole) + abs(up @ pole) + abs(east @ up) < 1e-12
    assert east == pytest.approx([1.0, 0.0, 0.0])
    higher = pole_enu(Site(lat * (1.0 - 1e-6) - 1e-9 if lat else 1e-6, 11.0), AIR, TargetPole.TRUE)
    assert np.linalg.norm(east_and_up(higher, site)[1] - up) < 1e-2
    assert up[2] >= 0.0


def test_signs_of_east_and_up_in_both_hemispheres() -> None:
    """Positive east: the upper end of the axis lies east of the pole. Positive up: it is too high."""
    for lat, azimuth in ((40.0, 0.0), (-40.0, 180.0)):
        site = Site(lat, 0.0)
        pole = pole_enu(site, Atmosphere(0.0), TargetPole.TRUE)
        toward_east = azimuth + (1.0 if lat > 0.0 else -1.0)
        east, up = offset_from_pole(horizontal_to_enu(np.radians(toward_east), np.radians(40.0)), pole, site)
        assert np.degrees(east) == pytest.approx(np.cos(np.radians(40.0)), rel=1e-3)
        assert abs(np.degrees(up)) < 0.01
        east, up = offset_from_pole(horizontal_to_enu(np.radians(azimuth), np.radians(41.5)), pole, site)
        assert (np.degrees(east), np.degrees(up)) == pytest.approx((0.0, 1.5), abs=1e-9)


def test_at_the_pole_of_the_earth_up_leads_over_the_zenith() -> None:
    for lat, side in ((90.0, -1.0), (-90.0, 1.0)):
        site = Site(lat, 30.0)
        pole = pole_enu(site, AIR, TargetPole.TRUE)
        assert pole == pytest.approx([0.0, 0.0, 1.0], abs=1e-15)
        assert east_and_up(pole, site)[1] == pytest.approx([0.0, side, 0.0], abs=1e-15)


def test_the_offset_of_the_pole_itself_is_nothing() -> None:
    site = Site(45.0, 0.0)
    pole = pole_enu(site, AIR, TargetPole.TRUE)
    assert offset_from_pole(pole, pole, site) == pytest.approx((0.0, 0.0), abs=1e-15)


@pytest.mark.parametrize(
    ("lat", "target"),
    [
        (52.0, TargetPole.REFRACTED),
        (-30.0, TargetPole.REFRACTED),
        (29.9, TargetPole.BETWEEN),
        (-20.0, TargetPole.BETWEEN),
        (10.0, TargetPole.TRUE),
        (0.0, TargetPole.TRUE),
    ],
)
def test_default_target(lat: float, target: TargetPole) -> None:
    assert default_target(Site(lat, 0.0)) is target


def drift_rms(lat: float, lift_arcsec: float) -> float:
    """Rms declination drift, arcsec a minute, over the sky above 30 degrees, of a perfect drive whose axis stands
    `lift_arcsec` above the true pole."""
    rng = np.random.default_rng(3)
    v = rng.normal(size=(2500, 3))
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    v = v[v[:, 2] > 0.5]
    phi = np.radians(lat)
    sky = rotation_about(np.array([0.0, np.cos(phi), np.sin(phi)]), -7.292115e-5 * 60.0)
    axis = horizontal_to_enu(0.0, phi + lift_arcsec * ARCSEC)
    drift = np.arcsin(lifted(v @ sky.T) @ axis) - np.arcsin(lifted(v) @ axis)
    return float(np.sqrt(np.mean(drift**2))) / ARCSEC


def lifted(v: FloatArray) -> FloatArray:
    altitude = np.arcsin(v[:, 2])
    up = altitude + np.array([refraction_rad(float(h), AIR) for h in altitude])
    return horizontal_to_enu(np.arctan2(v[:, 0], v[:, 1]), up)


@pytest.mark.parametrize(("lat", "best"), [(8.0, 0.0), (14.0, 0.0), (22.0, 0.5), (35.0, 1.0), (50.0, 1.0)])
def test_the_default_target_is_the_best_of_the_three(lat: float, best: float) -> None:
    """By direct simulation of refracted stars. Near the equator the pole is lifted by minutes, the sky is not."""
    lift = refraction_rad(np.radians(lat), AIR) / ARCSEC
    losses = {target.value: drift_rms(lat, target.value * lift) for target in TargetPole}
    assert min(losses, key=lambda value: losses[value]) == best
    assert default_target(Site(lat, 0.0)).value == best


def test_standard_atmosphere() -> None:
    """ISO 2533: 1013.25 hPa at sea level, 795 hPa at 2000 m (the exponential with 8434 m gives 799)."""
    assert standard_atmosphere(Site(0.0, 0.0, 0.0)).pressure_hpa == 1013.25
    assert standard_atmosphere(Site(0.0, 0.0, 2000.0)).pressure_hpa == pytest.approx(795.0, abs=6.0)


NOWHERE = [Site(95.0, 0.0), Site(float("nan"), 0.0), Site(10.0, 400.0), Site(10.0, 0.0, 20000.0)]


@pytest.mark.parametrize("site", NOWHERE)
def test_an_impossible_site_is_refused(site: Site) -> None:
    with pytest.raises(UsageError, match="must lie between"):
        observed_enu(np.array([[1.0, 0.0, 0.0]]), Utc(2461370.5, 0.5), site, AIR)


def test_an_impossible_time_is_refused() -> None:
    with pytest.raises(UsageError, match="Julian date"):
        observed_enu(np.array([[1.0, 0.0, 0.0]]), Utc(-1e9, 0.0), Site(10.0, 0.0), AIR)


def test_a_year_beyond_the_known_leap_seconds_is_no_trouble() -> None:
    """ERFA calls it dubious; warnings are errors here."""
    v = observed_enu(np.array([[1.0, 0.0, 0.0]]), Utc(2473459.5, 0.5), Site(10.0, 0.0), AIR)  # the year 2060
    assert np.linalg.norm(v) == pytest.approx(1.0)


def test_refraction_can_be_switched_off() -> None:
    for nothing in (0.0, 2e-311):
        assert refraction_rad(0.5, Atmosphere(nothing)) == 0.0
        bare = observed_enu(np.array([[0.0, 0.0, 1.0]]), Utc(2461370.5, 0.5), Site(40.0, 0.0), Atmosphere(nothing))
        assert np.degrees(np.arcsin(bare[0, 2])) == pytest.approx(40.0, abs=0.2)
    site = Site(40.0, 0.0)
    poles = [pole_enu(site, Atmosphere(0.0), target) for target in TargetPole]
    assert separation_rad(poles[0], poles[2]) == 0.0
