"""Field rotation and trailing against published constants and worked tables."""

from __future__ import annotations

import numpy as np
import pytest

from field_rotation import (
    guided_rotation_exact_rad,
    guided_rotation_rad,
    guided_trail_rad,
    unguided_drift_bound_rad,
)
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S

FIVE_ARCMIN = 5.0 / ARCMIN_PER_RAD
LAT = np.radians(40.0)


@pytest.mark.parametrize(
    ("dec_deg", "exact_arcsec", "closed_arcsec"),
    [(0, 0.229, 0.229), (30, 0.265, 0.265), (45, 0.324, 0.324), (60, 0.459, 0.458), (75, 0.890, 0.885)],
)
def test_trail_one_degree_from_the_guide_star(dec_deg: float, exact_arcsec: float, closed_arcsec: float) -> None:
    """E = 5' in altitude, ten minutes across the meridian. Our own two-axis simulation, computed apart (2026)."""
    dec = np.radians(dec_deg)
    exact = guided_rotation_exact_rad(LAT, 0.0, FIVE_ARCMIN, 0.0, dec, 600.0)
    closed = guided_rotation_rad(0.0, FIVE_ARCMIN, 0.0, dec, 600.0)
    assert guided_trail_rad(exact, np.radians(1.0)) * ARCSEC_PER_RAD == pytest.approx(exact_arcsec, abs=0.002)
    assert guided_trail_rad(closed, np.radians(1.0)) * ARCSEC_PER_RAD == pytest.approx(closed_arcsec, abs=0.001)


def test_near_the_pole_the_closed_form_falls_short() -> None:
    """The same at declination 85: 2.673" exact, 2.628" closed."""
    dec = np.radians(85.0)
    exact = guided_rotation_exact_rad(LAT, 0.0, FIVE_ARCMIN, 0.0, dec, 600.0)
    closed = guided_rotation_rad(0.0, FIVE_ARCMIN, 0.0, dec, 600.0)
    assert abs(exact) * np.radians(1.0) * ARCSEC_PER_RAD == pytest.approx(2.673, abs=0.01)
    assert abs(closed) * np.radians(1.0) * ARCSEC_PER_RAD == pytest.approx(2.628, abs=0.002)


@pytest.mark.parametrize(
    ("lat_deg", "east", "up", "exact_arcsec"),
    [(40.0, 0.0, 5.0, 18.966), (40.0, 5.0, 0.0, 18.159), (-35.0, 0.0, 5.0, -18.966), (-35.0, 5.0, 0.0, -18.159)],
)
def test_rotation_at_three_hours_east(lat_deg: float, east: float, up: float, exact_arcsec: float) -> None:
    """Ten minutes from H = -3 h at declination 60; in the south the same turned round, sizes equal to 2e-3."""
    middle = np.radians(-45.0) + 0.5 * SIDEREAL_RATE_RAD_S * 600.0
    e, u = east / ARCMIN_PER_RAD, up / ARCMIN_PER_RAD
    exact = guided_rotation_exact_rad(np.radians(lat_deg), e, u, middle, np.radians(60.0), 600.0)
    closed = guided_rotation_rad(e, u, middle, np.radians(60.0), 600.0, 1 if lat_deg > 0 else -1)
    assert exact * ARCSEC_PER_RAD == pytest.approx(exact_arcsec, rel=2e-3)
    assert closed == pytest.approx(exact, rel=2e-3)


def test_four_hours_at_once() -> None:
    """Declination 60, b = 5', H = -2 to +2 h: exact 602.8", closed 601.5"; rate times time would say 630"."""
    exact = guided_rotation_exact_rad(LAT, 0.0, FIVE_ARCMIN, 0.0, np.radians(60.0), 4 * 3600.0)
    closed = guided_rotation_rad(0.0, FIVE_ARCMIN, 0.0, np.radians(60.0), 4 * 3600.0)
    assert abs(exact) * ARCSEC_PER_RAD == pytest.approx(602.8, abs=0.6)
    assert abs(closed) * ARCSEC_PER_RAD == pytest.approx(601.5, abs=0.6)


def test_the_published_constant_of_the_trail() -> None:
    """trail[um] = E['] T[min] r[deg] F[mm] / (K cos dec).

    K = 45000 from E[deg] = 750 S[um] cos D / (T F A), Hook, J. Brit. Astron. Assoc. 99(1), 19 (1989), as quoted by
    others; derived with the sidereal rate: 45018.6.
    """
    rotation = guided_rotation_rad(0.0, 1.0 / ARCMIN_PER_RAD, 0.0, 0.0, 60.0)
    trail_um = guided_trail_rad(rotation, np.radians(1.0)) * 1000.0 * 1000.0  # one metre of focal length, in um
    assert 1000.0 / trail_um == pytest.approx(45018.6, abs=0.5)
    assert 1000.0 / trail_um == pytest.approx(45000.0, rel=5e-4)


@pytest.mark.parametrize(
    ("focal_mm", "r_deg", "tolerated_um", "dec_deg", "minutes_1", "minutes_5"),
    [(500.0, 1.0, 1.88, 30.0, 147.0, 29.0), (1000.0, 0.6, 1.9, 60.0, 71.0, 14.0)],
)
def test_longest_guided_exposures(
    focal_mm: float, r_deg: float, tolerated_um: float, dec_deg: float, minutes_1: float, minutes_5: float
) -> None:
    """The inverse, T[min] = K tol cos dec / (E r F), at 1' and 5'."""
    for error, minutes in ((1.0, minutes_1), (5.0, minutes_5)):
        formula = 45018.6 * tolerated_um * np.cos(np.radians(dec_deg)) / (error * r_deg * focal_mm)
        assert formula == pytest.approx(minutes, abs=0.5)
        turned = guided_rotation_rad(0.0, error / ARCMIN_PER_RAD, 0.0, np.radians(dec_deg), formula * 60.0)
        trail = guided_trail_rad(turned, np.radians(r_deg)) * focal_mm * 1000.0
        assert trail == pytest.approx(tolerated_um, rel=0.02)  # sin x for x over two hours


def test_one_arcminute_drifts_by_a_quarter_arcsecond_a_minute() -> None:
    """0.262516 "/min per arcmin: w E, the constant of the drift method (form: Covington 1999, app. B)."""
    assert unguided_drift_bound_rad(1.0 / ARCMIN_PER_RAD, 60.0) * ARCSEC_PER_RAD == pytest.approx(0.262516, abs=1e-6)
    assert unguided_drift_bound_rad(1.0 / ARCMIN_PER_RAD, 60.0) * ARCSEC_PER_RAD == pytest.approx(0.2625, abs=5e-5)
