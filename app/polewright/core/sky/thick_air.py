"""Refraction near the horizon: rays traced through a layered standard atmosphere where the formula ends.

A tan z + B tan^3 z is good to 0.2" above 12 degrees; at 5 it is 20" short, and at the horizon it means nothing. Below
15 degrees what the traced rays add to it is looked up, so that from there upward nothing differs from ERFA.

The bending of a ray is the integral of -(1/n) (dn/dh) tan z dh with n r sin z constant (Green, Spherical Astronomy,
CUP 1985, ch. 4). With h = s^2 the integrand stays finite for a ray that arrives level. Temperature and pressure by
height are those of ISO 2533:1975, begun at the air stated; the refractivity at the ground is the formula's own.

Decided 2026-11-29. A formula for the horizon (Bennett 1982) was rejected: it knows one air, and would join that of
ERFA in a step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.model import Atmosphere, FloatArray

THICK_BELOW_RAD = math.radians(15.0)  # formula and rays agree there to 0.1": tests/unit/test_low_air.py
LEAST_SINE = 0.05  # ERFA holds its formula constant below an altitude of 2.9 degrees (eraAtioq, SELMIN)
_RADIUS_M = 6_371_000.0  # of the Earth, mean (IUGG; from memory)
_LAPSE_K_M, _TROPOPAUSE_M = 0.0065, 11_000.0  # ISO 2533:1975
_HYDROSTATIC_K_M = 9.80665 * 0.0289644 / 8.314462618  # g M / R, with the constants of ISO 2533:1975
_TOP_M = 85_000.0  # 1e-5 of the air lies higher
_REFRACTIVITY_K_HPA = 7.9e-5  # of visible light: (n - 1) T / P; to 1 %, the rays are scaled to the formula
_NODES, _RAYS = 40, 120


@dataclass(frozen=True, eq=False)
class ThickAir:
    """(K,) rising: altitudes of rays without air, as the formula shows them and as they arrive, rad, and what the
    traced bending has beyond the formula's."""

    true_rad: FloatArray
    formula_rad: FloatArray
    seen_rad: FloatArray
    more_rad: FloatArray

    def more_of_true(self, true_rad: FloatArray) -> FloatArray:
        """To be added to the formula for altitudes (...) without air; below the horizon that of the horizon."""
        return np.asarray(np.interp(true_rad, self.true_rad, self.more_rad, right=0.0))

    def more_of_formula(self, formula_rad: FloatArray) -> FloatArray:
        """The same for altitudes (...) that the formula has raised already."""
        return np.asarray(np.interp(formula_rad, self.formula_rad, self.more_rad, right=0.0))

    def bending_of_seen(self, seen_rad: FloatArray) -> FloatArray:
        """The whole bending of rays that arrive at altitudes (...) below 15 degrees."""
        return np.asarray(np.interp(seen_rad, self.seen_rad, self.seen_rad - self.true_rad))


def formula_rad(true_rad: FloatArray, a: float, b: float) -> FloatArray:
    """Bending (...) at altitudes (...) without air: one Newton step as in eraAtioq."""
    sine = np.maximum(np.sin(true_rad), LEAST_SINE)
    tangent = np.cos(true_rad) / sine
    cubic = b * tangent * tangent
    return np.asarray((a + cubic) * tangent / (1.0 + (a + 3.0 * cubic) / (sine * sine)))


def thick_air(atmosphere: Atmosphere, a: float, b: float) -> ThickAir:
    """The table of one air, whose formula has these constants: 120 rays from the horizon to 15 degrees."""
    seen = THICK_BELOW_RAD * np.linspace(0.0, 1.0, _RAYS) ** 2  # closer together where it bends
    bending = _traced_rad(seen, atmosphere)
    tangent = 1.0 / math.tan(THICK_BELOW_RAD)
    bending *= (a + b * tangent**2) * tangent / bending[-1]
    true = seen - bending
    formula = formula_rad(true, a, b)
    return ThickAir(true, true + formula, seen, bending - formula)


def _traced_rad(seen_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """Bending (K,) of rays that arrive at altitudes (K,)."""
    root, weight = _roots()
    height = root * root
    index, slope = _index(height, atmosphere)
    ground = _index(np.zeros(1), atmosphere)[0][0]
    lever = ground * _RADIUS_M / (index * (_RADIUS_M + height))
    sine = np.cos(seen_rad)[:, None] * lever
    tangent = sine / np.sqrt((1.0 - sine) * (1.0 + sine))
    return np.asarray(-(tangent * (slope / index * 2.0 * root * weight)).sum(axis=1))


def _roots() -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights in the root of the height; the slope of the index jumps at the tropopause."""
    x, w = np.polynomial.legendre.leggauss(_NODES)
    edges = np.sqrt([0.0, _TROPOPAUSE_M, _TOP_M])
    half, middle = 0.5 * np.diff(edges)[:, None], 0.5 * (edges[1:] + edges[:-1])[:, None]
    return (middle + half * x).ravel(), (half * w).ravel()


def _index(height_m: FloatArray, atmosphere: Atmosphere) -> tuple[FloatArray, FloatArray]:
    """Index of refraction and its slope, 1/m, at heights above the ground."""
    ground_k = atmosphere.temperature_c + 273.15
    kelvin = ground_k - _LAPSE_K_M * np.minimum(height_m, _TROPOPAUSE_M)
    below = height_m < _TROPOPAUSE_M
    power = _HYDROSTATIC_K_M / _LAPSE_K_M - 1.0
    thinner = (kelvin / ground_k) ** power * np.exp(
        -_HYDROSTATIC_K_M / kelvin * np.maximum(height_m - _TROPOPAUSE_M, 0.0)
    )
    refractivity = _REFRACTIVITY_K_HPA * atmosphere.pressure_hpa / ground_k * thinner
    falls = np.where(below, power * _LAPSE_K_M, _HYDROSTATIC_K_M) / kelvin
    return 1.0 + refractivity, -refractivity * falls
