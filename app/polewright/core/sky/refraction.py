"""Refraction of many directions at once: true ENU <-> observed ENU.

dz = A tan z + B tan^3 z with the constants of ERFA `refco`; the step from true to observed is the one of ERFA
`atioq` (one Newton step), as in core/sky/places.py; below 15 degrees traced rays add to it (core/sky/thick_air.py).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import erfa
import numpy as np

from polewright.core.model import Atmosphere, FloatArray
from polewright.core.sky.thick_air import LEAST_SINE, THICK_BELOW_RAD, ThickAir, formula_rad, thick_air

LAYERS_SHARE = 0.2  # of the height of the homogeneous atmosphere
LEAST_PRESSURE_HPA = 1e-3  # below it there is no air, and ERFA overflows


class Bending(NamedTuple):
    """A and B, rad, for the zenith distance as observed; what traced rays add near the horizon, None without air."""

    a: float
    b: float
    low: ThickAir | None


@lru_cache(maxsize=16)  # every frame of a night asks for the same air
def refraction_constants(atmosphere: Atmosphere) -> Bending:
    """What bends light in this air; nothing without air."""
    if atmosphere.pressure_hpa < LEAST_PRESSURE_HPA:
        return Bending(0.0, 0.0, None)
    a, b = erfa.ufunc.refco(
        atmosphere.pressure_hpa, atmosphere.temperature_c, atmosphere.relative_humidity, atmosphere.wavelength_um
    )
    return Bending(float(a), float(b), thick_air(atmosphere, float(a), float(b)))


def bending_rad(true_altitude_rad: FloatArray, air: Bending) -> FloatArray:
    """By how much directions (...) at these altitudes without air are raised, rad; below the horizon as on it."""
    bend = formula_rad(true_altitude_rad, air.a, air.b)
    return bend if air.low is None else bend + air.low.more_of_true(true_altitude_rad)


def lift_rad(altitude_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """By how much the air lifts what is seen at these altitudes (...), rad; below the horizon as on it."""
    a, b, low = refraction_constants(atmosphere)
    sine = np.maximum(np.sin(altitude_rad), LEAST_SINE)
    tangent = np.sqrt(1.0 - sine**2) / sine
    high = (a + b * tangent**2) * tangent
    return np.asarray(
        high if low is None else np.where(altitude_rad < THICK_BELOW_RAD, low.bending_of_seen(altitude_rad), high)
    )


def low_air_rad(altitude_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """One sigma (...), rad, of what layers of warm and cold air add near the horizon; size: core/axis/nuisances.py.

    A share of the term of the refraction in tan z sec^2 z, with Bennett's altitude in place of the true one, which
    keeps it finite at the horizon (Bennett 1982, J. Navigation 35, 255: h + 7.31 / (h + 4.4), degrees).
    """
    b = refraction_constants(atmosphere).b
    height = np.maximum(np.degrees(altitude_rad), 0.0)
    sine = np.sin(np.radians(np.minimum(height + 7.31 / (height + 4.4), 90.0)))
    return np.asarray(LAYERS_SHARE * abs(b) * np.sqrt(1.0 - sine**2) / sine**3)


def refract(true_enu: FloatArray, air: Bending) -> FloatArray:
    """Observed directions (..., 3) of true directions (..., 3)."""
    flat = np.maximum(np.hypot(true_enu[..., 0], true_enu[..., 1]), 1e-12)
    bend = bending_rad(np.arctan2(true_enu[..., 2], flat), air)
    cosine, sine = np.cos(bend), np.sin(bend)
    shrink = cosine - sine * true_enu[..., 2] / flat
    raised = cosine * true_enu[..., 2] + sine * flat
    return np.stack([true_enu[..., 0] * shrink, true_enu[..., 1] * shrink, raised], axis=-1)
