"""Refraction against the traced rays in the notes of ERFA `refco` and against ERFA `atioq` itself."""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD, separation_rad
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.sky.places import pole_enu, true_pole_enu
from polewright.core.sky.refraction import Bending, refract, refraction_constants


def true_of(seen: FloatArray, constants: Bending) -> FloatArray:
    """The direction that is refracted to this one, above 3 degrees."""
    guess = seen
    for _ in range(3):
        guess = guess - (refract(guess, constants) - seen)
        guess = guess / np.linalg.norm(guess)
    return guess


@pytest.mark.parametrize(("z_deg", "bending"), [(45, 58.16), (60, 100.51), (70, 158.63), (76, 229.45)])
def test_ray_traces_in_the_notes_of_refco(z_deg: float, bending: float) -> None:
    """1005 hPa, 280.15 K, 80 %, 0.574 um; z is the observed zenith distance. ERFA refco.c, notes."""
    z = np.radians(z_deg)
    seen = np.array([np.sin(z), 0.0, np.cos(z)])
    true = true_of(seen, refraction_constants(Atmosphere(1005.0, 7.0, 0.8, 0.574)))
    assert separation_rad(true, seen) * ARCSEC_PER_RAD == pytest.approx(bending, abs=0.08)


@pytest.mark.parametrize(
    ("lat_deg", "lifted"), [(20, 157.58), (30, 99.97), (40, 68.94), (50, 48.59), (60, 33.45), (-40, 68.94)]
)
def test_the_refracted_pole(lat_deg: float, lifted: float) -> None:
    """1010 hPa, 10 C, dry, 0.574 um: values computed with ERFA (pyerfa 2.0.1.5) apart from this program."""
    air, site = Atmosphere(1010.0, 10.0, 0.0, 0.574), Site(lat_deg, 0.0)
    true = true_pole_enu(site)
    seen = refract(true, refraction_constants(air))
    assert separation_rad(true, seen) * ARCSEC_PER_RAD == pytest.approx(lifted, abs=0.05)
    assert np.allclose(seen, pole_enu(site, air, TargetPole.REFRACTED), atol=1e-12)


def test_the_same_as_atioq() -> None:
    """CIRS place to observed place, with and without air, down to 15 degrees; lower, traced rays are added."""
    lat, air = np.radians(40.0), (1010.0, 10.0, 0.5, 0.574)
    site = (2400000.5, 61370.0, 0.0, 0.0, lat, 0.0, 0.0, 0.0)
    with_air, without = erfa.apio13(*site, *air), erfa.apio13(*site, 0.0, 10.0, 0.5, 0.574)
    ra, dec = np.meshgrid(np.linspace(0.0, 6.2, 25), np.radians([-20.0, 10.0, 50.0, 85.0]))
    true, seen = (_enu(*erfa.atioq(ra.ravel(), dec.ravel(), a)[:2]) for a in (without, with_air))
    high = true[:, 2] > np.sin(np.radians(15.0))
    assert high.sum() > 40
    ours = refract(true[high], refraction_constants(Atmosphere(*air)))
    assert separation_rad(ours, seen[high]).max() * ARCSEC_PER_RAD < 0.01


def test_no_air_no_bending() -> None:
    v = np.array([[0.6, 0.0, 0.8]])
    assert np.allclose(refract(v, refraction_constants(Atmosphere(0.0))), v, atol=1e-15)


def _enu(az: np.ndarray, zd: np.ndarray) -> np.ndarray:
    return np.stack([np.sin(zd) * np.sin(az), np.sin(zd) * np.cos(az), np.cos(zd)], axis=-1)
