"""Refraction of many directions at once: true ENU <-> observed ENU.

dz = A tan z + B tan^3 z with the constants of ERFA `refco`; the step from true to observed is the one of ERFA
`atioq` (one Newton step, and never more bending than 3 degrees above the horizon), as in core/sky/places.py.
"""

from __future__ import annotations

import erfa
import numpy as np

from polewright.core.model import Atmosphere, FloatArray

_LEAST_SINE = 0.05  # of the altitude, as in ERFA apio13/atioq


def refraction_constants(atmosphere: Atmosphere) -> tuple[float, float]:
    """(A, B), rad, for the zenith distance as observed; (0, 0) without air."""
    if atmosphere.pressure_hpa <= 0.0:
        return 0.0, 0.0
    a, b = erfa.ufunc.refco(
        atmosphere.pressure_hpa, atmosphere.temperature_c, atmosphere.relative_humidity, atmosphere.wavelength_um
    )
    return float(a), float(b)


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
