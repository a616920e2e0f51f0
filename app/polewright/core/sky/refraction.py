"""Refraction of many directions at once: true ENU <-> observed ENU.

dz = A tan z + B tan^3 z with the constants of ERFA `refco`; the step from true to observed is the one of ERFA
`atioq` (one Newton step, and never more bending than 3 degrees above the horizon), as in core/sky/places.py.
"""

from __future__ import annotations

import erfa
import numpy as np

from polewright.core.model import Atmosphere, FloatArray

LAYERS_SHARE = 0.2  # of the height of the homogeneous atmosphere
_LEAST_SINE = 0.05  # of the altitude, as in ERFA apio13/atioq


def refraction_constants(atmosphere: Atmosphere) -> tuple[float, float]:
    """(A, B), rad, for the zenith distance as observed; (0, 0) without air."""
    if atmosphere.pressure_hpa <= 0.0:
        return 0.0, 0.0
    a, b = erfa.ufunc.refco(
        atmosphere.pressure_hpa, atmosphere.temperature_c, atmosphere.relative_humidity, atmosphere.wavelength_um
    )
    return float(a), float(b)


def lift_rad(altitude_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """By how much the air lifts what is seen at these altitudes (...), rad; held constant below 2.9 degrees."""
    a, b = refraction_constants(atmosphere)
    sine = np.maximum(np.sin(altitude_rad), _LEAST_SINE)
    tangent = np.sqrt(1.0 - sine**2) / sine
    return np.asarray((a + b * tangent**2) * tangent)


def low_air_rad(altitude_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """One sigma (...), rad, of what layers of warm and cold air add near the horizon; size: core/axis/nuisances.py.

    A share of the term of the refraction in tan z sec^2 z, with Bennett's altitude in place of the true one, which
    keeps it finite at the horizon (Bennett 1982, J. Navigation 35, 255: h + 7.31 / (h + 4.4), degrees).
    """
    _, b = refraction_constants(atmosphere)
    height = np.maximum(np.degrees(altitude_rad), 0.0)
    sine = np.sin(np.radians(np.minimum(height + 7.31 / (height + 4.4), 90.0)))
    return np.asarray(LAYERS_SHARE * abs(b) * np.sqrt(1.0 - sine**2) / sine**3)


def refract(true_enu: FloatArray, constants: tuple[float, float]) -> FloatArray:
    """Observed directions (..., 3) of true directions (..., 3)."""
    a, b = constants
    flat = np.maximum(np.hypot(true_enu[..., 0], true_enu[..., 1]), 1e-12)
    height = np.maximum(true_enu[..., 2], _LEAST_SINE)
    tangent = flat / height
    cubic = b * tangent * tangent
    bend = (a + cubic) * tangent / (1.0 + (a + 3.0 * cubic) / (height * height))
    cosine, sine = np.cos(bend), np.sin(bend)
    shrink = cosine - sine * true_enu[..., 2] / flat
    raised = cosine * true_enu[..., 2] + sine * flat
    return np.stack([true_enu[..., 0] * shrink, true_enu[..., 1] * shrink, raised], axis=-1)
