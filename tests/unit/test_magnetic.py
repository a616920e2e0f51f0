"""Magnetic declination against the official WMM2025 test values (NOAA/NCEI, WMM2025 test value table)."""

from __future__ import annotations

import pytest

from polewright.core.model import Site
from polewright.services.magnetic import CompassUseless, MagneticDeclination, magnetic_declination


@pytest.mark.parametrize(
    ("year", "km", "lat", "lon", "declination"),
    [
        (2025.0, 65, 43, 93, 0.50),
        (2025.0, 51, -33, 109, -5.49),
        (2025.5, 44, 33, -118, 11.10),
        (2025.5, 22, -37, 140, 9.28),
        (2026.0, 34, -19, 43, -14.98),
        (2026.5, 19, 29, 66, 2.24),
    ],
)
def test_official_values(year: float, km: float, lat: float, lon: float, declination: float) -> None:
    found = magnetic_declination(Site(lat, lon, km * 1000.0), year)
    assert isinstance(found, MagneticDeclination)
    assert found.declination_deg == pytest.approx(declination, abs=0.0051)
    assert 0.26 < found.sigma_deg < 0.5


def test_the_error_model_at_mid_latitude() -> None:
    """WMM2025 report: sqrt(0.26^2 + (5417/H)^2) degrees; 0.33 to 0.39 where most people live."""
    found = magnetic_declination(Site(48.0, 11.0, 500.0), 2026.2)
    assert isinstance(found, MagneticDeclination)
    assert found.sigma_deg == pytest.approx((0.26**2 + (5417.0 / found.horizontal_nt) ** 2) ** 0.5)
    assert 0.33 <= found.sigma_deg <= 0.39


def test_near_the_magnetic_pole_it_says_so() -> None:
    """The north magnetic pole (dip pole) of WMM2025 at 2025.0 lies near 85.8 N, 139.3 E (WMM2025 report)."""
    found = magnetic_declination(Site(85.8, 139.3), 2025.0)
    assert isinstance(found, CompassUseless)
    near = magnetic_declination(Site(75.0, -100.0), 2026.0)
    assert isinstance(near, MagneticDeclination) and near.horizontal_nt < 6000.0


@pytest.mark.parametrize("year", [2019.0, 2033.5])
def test_outside_its_years_the_model_warns_and_doubts_itself(year: float) -> None:
    site = Site(48.0, 11.0)
    found, inside = magnetic_declination(site, year), magnetic_declination(site, 2027.0)
    assert isinstance(found, MagneticDeclination) and isinstance(inside, MagneticDeclination)
    assert found.sigma_deg > inside.sigma_deg
