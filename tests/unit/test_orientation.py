"""Standing the mount up: heading, inclination, clock and scale; and the choice of sky."""

from __future__ import annotations

import math

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.night.orientation.clock import FrameArrival, check_clock, clock_effect_rad
from polewright.core.night.orientation.standing import heading, scale_agrees
from polewright.core.plan.sky_choice import (
    Obstacle,
    axis_factor,
    choose_sky,
    horizontal_deg,
    screw_factor,
    three_frame_factor,
)
from polewright.words.axis import clock_words
from polewright.words.plan import sky_words

AIR = Atmosphere(1010.0, 10.0, 0.0, 0.574)


@pytest.mark.parametrize(
    ("latitude", "arcsec"),
    # refraction of the pole by ERFA refco, 1010 hPa, 10 C, dry, 0.574 um
    [(20.0, 157.58), (30.0, 99.97), (40.0, 68.94), (50.0, 48.59), (60.0, 33.45), (-40.0, 68.94)],
)
def test_inclination_is_latitude_and_refraction(latitude: float, arcsec: float) -> None:
    seen = heading(Site(latitude, 0.0), AIR, TargetPole.REFRACTED)
    assert seen.refraction_arcmin * 60.0 == pytest.approx(arcsec, abs=0.1)
    assert seen.inclination_deg == pytest.approx(abs(latitude) + arcsec / 3600.0, abs=3e-5)
    assert heading(Site(latitude, 0.0), AIR, TargetPole.TRUE).inclination_deg == pytest.approx(abs(latitude))
    half = heading(Site(latitude, 0.0), AIR, TargetPole.BETWEEN).refraction_arcmin
    assert half == pytest.approx(seen.refraction_arcmin / 2.0, rel=1e-6)


def test_compass_reading_is_true_less_declination() -> None:
    # magnetic declination is counted east of true north, so the compass shows less where it is east
    north = heading(Site(52.0, 10.0), AIR, TargetPole.TRUE, 4.5, 0.4)
    assert (north.true_deg, north.magnetic_deg) == (0.0, pytest.approx(355.5))
    assert north.sigma_deg > 2.0
    south = heading(Site(-31.0, 149.0), AIR, TargetPole.TRUE, 11.0)
    assert (south.true_deg, south.magnetic_deg) == (180.0, pytest.approx(169.0))


def test_wrong_clock_turns_the_error_about_the_pole() -> None:
    # E w dt: 60' and 10 s give 2.625", 25' and 10 s 1.09" (1.11" in an independent simulation)
    assert clock_effect_rad(math.radians(1.0), 10.0) * ARCSEC_PER_RAD == pytest.approx(2.625, abs=1e-3)
    assert clock_effect_rad(math.radians(25.0 / 60.0), 10.0) * ARCSEC_PER_RAD == pytest.approx(1.10, abs=0.02)
    assert clock_effect_rad(0.0, 3600.0) == 0.0


def test_clock_check_allows_for_reading_out_and_says_how_much_it_matters() -> None:
    assert check_clock([]) is None
    good = check_clock([FrameArrival(100.0 * i, 2.0, 100.0 * i + 1.0 + 3.0) for i in range(5)])
    assert good is not None and good.agrees
    slow = check_clock([FrameArrival(100.0 * i - 127.0, 2.0, 100.0 * i + 4.0) for i in range(5)], math.radians(0.5))
    assert slow is not None and not slow.agrees
    assert slow.ahead_s == pytest.approx(-130.0)
    assert slow.doubt is not None
    assert "behind" in clock_words(slow.doubt) and "set both" in clock_words(slow.doubt)
    ahead = check_clock([FrameArrival(30.0, 2.0, 4.0)])
    assert (
        ahead is not None and not ahead.agrees and ahead.doubt is not None and "ahead of" in clock_words(ahead.doubt)
    )


def test_scale_check_names_binning_and_focal_length() -> None:
    assert scale_agrees(4.297, 4.3) and not scale_agrees(8.6, 4.3) and not scale_agrees(5.0, 4.3)


def test_axis_factor_is_the_published_covariance() -> None:
    # computed from the same first-order covariance and confirmed by Gauss-Newton and Monte Carlo, roll 80 x pointing
    for span, rho, factor in ((60.0, 30.0, 9.1347), (90.0, 30.0, 4.2774), (60.0, 2.0, 4.0650)):
        assert three_frame_factor(math.radians(span), math.radians(rho), 80.0) == pytest.approx(factor, abs=1e-3)
    two = axis_factor(np.radians([0.0, 60.0]), math.radians(30.0), 80.0)
    assert two == pytest.approx(56.5995, abs=1e-3)


@pytest.mark.parametrize(
    ("azimuth", "altitude", "azimuth_error", "altitude_error"),
    # latitude 40, pointing only: errors of (east, up) in units of the pointing error
    [(0.0, 60.0, 1.5, 1.0), (180.0, 20.0, 0.82, 1.0), (180.0, 45.0, 1.08, 1.0), (45.0, 45.0, 1.3, 1.4)],
)
def test_screw_factor(azimuth: float, altitude: float, azimuth_error: float, altitude_error: float) -> None:
    total = screw_factor(altitude, azimuth, Site(40.0, 0.0), roll_ratio=1e6)
    assert total == pytest.approx(math.hypot(azimuth_error, altitude_error), abs=0.07)


def test_due_east_and_zenith_are_weak() -> None:
    site = Site(40.0, 0.0)
    assert screw_factor(45.0, 90.0, site) > 30.0
    assert screw_factor(89.0, 180.0, site) > 20.0 * screw_factor(45.0, 180.0, site) / 2.0


def test_horizontal_coordinates_meeus_13b() -> None:
    # Meeus, Astronomical Algorithms, 2nd ed., example 13.b: H 64.352133, dec -6.719892, latitude 38.921389 deg
    # gives azimuth 68.0337 from the south (248.0337 from the north), altitude 15.1249
    altitude, azimuth = horizontal_deg(Site(38.921389, 0.0), np.array([64.352133 / 15.0]), -6.719892)
    assert altitude[0] == pytest.approx(15.1249, abs=2e-4)
    assert azimuth[0] == pytest.approx(248.0337, abs=2e-4)


@pytest.mark.parametrize("latitude", [-90.0, -65.0, -31.0, -5.0, 0.0, 20.0, 52.0, 80.0, 90.0])
def test_chosen_sky_is_up_free_and_wide_enough(latitude: float) -> None:
    site = Site(latitude, 0.0)
    choices = choose_sky(site)
    assert choices
    for choice in choices:
        assert choice.span_deg >= 60.0
        assert min(choice.first.altitude_deg, choice.last.altitude_deg) >= 25.0
        assert choice.first.hour_angle_h < choice.last.hour_angle_h  # turned westward
        assert choice.axis_factor < 12.0 and choice.screw_factor < 6.0
        assert sky_words(choice)


@pytest.mark.parametrize("latitude", [-90.0, -65.0, -31.0, 0.0, 35.0, 52.0, 80.0, 90.0])
def test_no_declination_near_the_pole_where_a_lower_one_will_do(latitude: float) -> None:
    """There five degrees beside the mark are hours of hour angle (cos 85 = 0.09: spherical trigonometry); the axis is
    known from 60 degrees nearly as well, counted by the same factors."""
    for choice in choose_sky(Site(latitude, 0.0)):
        assert abs(choice.first.declination_deg) <= 60.0
        assert choice.axis_factor <= 8.0
    behind_the_house = choose_sky(Site(80.0, 0.0), (Obstacle(90.0, 270.0, 70.0),))
    assert [c.first.declination_deg > 60.0 for c in behind_the_house] == [True] * 2, "lower there is too little sky"


def test_courtyard_with_a_house_to_the_north() -> None:
    house = (Obstacle(285.0, 75.0, 60.0), Obstacle(75.0, 285.0, 15.0))
    choices = choose_sky(Site(48.1, 11.3), house)
    assert choices
    for choice in choices:
        for spot in (choice.first, choice.last, choice.adjust):
            hidden = (spot.azimuth_deg - 285.0) % 360.0 <= 150.0 and spot.altitude_deg < 60.0
            assert not hidden
    assert choose_sky(Site(48.1, 11.3), (Obstacle(0.0, 359.999, 90.0),)) == ()
