"""The trail that a plan predicts against the published constant of guided exposures and a worked table.

The guide star stands in the middle and the corner one degree from it, so that the trail is the rotation of the field
times one degree. Without air, as the sources have it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.model import Atmosphere, TargetPole
from polewright.core.plan.exposure_blur import Shot, blur_px, displaced_pole
from polewright.core.plan.imaging_plan import ImagingPlan
from polewright.core.plan.tolerance import Tolerance, needed_accuracy

ONE_DEGREE = math.radians(1.0)
NO_AIR = Atmosphere(pressure_hpa=0.0)


def trail_arcsec(
    lat_deg: float,
    east_arcmin: float,
    up_arcmin: float,
    mid_h: float,
    dec_deg: float,
    seconds: float,
    guided: bool = True,
) -> float:
    """One degree from the guide star, or of the worst star of a field of that radius when unguided."""
    lat = math.radians(lat_deg)
    pole = np.array([0.0, math.copysign(math.cos(lat), lat), abs(math.sin(lat))])
    axis = displaced_pole(pole, east_arcmin / ARCMIN_PER_RAD, up_arcmin / ARCMIN_PER_RAD)
    guide = 0.0 if guided else None
    shot = Shot(lat, math.radians(dec_deg), seconds, ARCSEC_PER_RAD, ONE_DEGREE, guide, NO_AIR)
    return float(blur_px(shot, axis[None], np.array([math.radians(15.0 * mid_h)]))[0, 0])


@pytest.mark.parametrize(
    ("dec_deg", "trail"), [(0, 0.229), (30, 0.265), (45, 0.324), (60, 0.459), (75, 0.890), (85, 2.673)]
)
def test_trail_one_degree_from_the_guide_star(dec_deg: float, trail: float) -> None:
    """5' too high, ten minutes across the meridian at latitude 40. A two-axis simulation, computed apart."""
    assert trail_arcsec(40.0, 0.0, 5.0, 0.0, dec_deg, 600.0) == pytest.approx(trail, abs=0.001)


@pytest.mark.parametrize(
    ("lat_deg", "east", "up", "rotation"),
    [(40.0, 0.0, 5.0, 18.966), (40.0, 5.0, 0.0, 18.159), (-35.0, 0.0, 5.0, 18.966), (-35.0, 5.0, 0.0, 18.159)],
)
def test_rotation_at_three_hours_east(lat_deg: float, east: float, up: float, rotation: float) -> None:
    """Ten minutes from H = -3 h at 60 degrees from the equator, on the side of the elevated pole. Computed apart."""
    trail = trail_arcsec(lat_deg, east, up, -3.0 + 300.0 / 3600.0, math.copysign(60.0, lat_deg), 600.0)
    assert trail / ONE_DEGREE == pytest.approx(rotation, rel=2e-3)


def test_four_hours_at_once() -> None:
    """Declination 60, 5' too high, H = -2 to +2 h: 602.8" of rotation; rate times time would say 630"."""
    trail = trail_arcsec(40.0, 0.0, 5.0, 0.0, 60.0, 4 * 3600.0)
    assert trail / ONE_DEGREE == pytest.approx(602.8, abs=1.0)


@pytest.mark.parametrize("dec_deg", [0.0, 20.0, 40.0, 60.0])
def test_the_published_constant_of_the_trail(dec_deg: float) -> None:
    """trail[um] = E['] T[min] r[deg] F[mm] / (K cos dec).

    K = 45000 from E[deg] = 750 S[um] cos D / (T F A), Hook, J. Brit. Astron. Assoc. 99(1), 19 (1989), as quoted by
    others; with the sidereal rate 45018.6. One arcminute, one minute, one degree, one metre of focal length.
    """
    trail_um = trail_arcsec(40.0, 0.0, 1.0, 0.0, dec_deg, 60.0) / ARCSEC_PER_RAD * 1e6
    assert 1000.0 / (trail_um * math.cos(math.radians(dec_deg))) == pytest.approx(45000.0, rel=2e-3)


def test_one_arcminute_drifts_by_a_quarter_arcsecond_a_minute() -> None:
    """0.2625"/min per arcmin: w E, the constant of the drift method (form: Covington 1999, app. B).

    Met by a star on the meridian for an axis too far east, unguided: it drifts in declination.
    """
    drift = trail_arcsec(40.0, 1.0, 0.0, 0.0, 0.0, 60.0, guided=False)
    assert drift == pytest.approx(0.2625, rel=2e-3)


def test_the_whole_series_turns_the_field_by_the_closed_form() -> None:
    """From H = -2 to +2 h at declination 60, 5' off: 2 sin 30 x 300" / cos 60 = 600", by hand.

    Four hours of the clock are 0.66 minutes more, so 601.5" (602.8" exactly, as above).
    """
    plan = ImagingPlan(
        40.0, 60.0, 500.0, 4.0, 3000, 2000, 60.0, hour_angle_from_h=-2.0, hour_angle_to_h=2.0, atmosphere=NO_AIR
    )
    found = needed_accuracy(plan, TargetPole.TRUE)
    assert isinstance(found, Tolerance)
    per_error = found.session_rotation_rad / found.advised_rad
    assert per_error * 300.0 == pytest.approx(600.0, rel=1e-6)
