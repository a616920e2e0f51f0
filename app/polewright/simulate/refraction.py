"""Atmospheric refraction by tracing rays through a spherical standard atmosphere.

The bending of a ray is R = -integral of (1/n) (dn/dr) tan z dr along the ray, with n r sin z constant (Green,
Spherical Astronomy, CUP 1985, ch. 4; Auer & Standish, AJ 119, 2472 (2000)). Nothing is taken from the formula
A tan z + B tan^3 z, so that a mistake in one of the two shows as a difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from polewright.core.model import Atmosphere, FloatArray

_EARTH_RADIUS_M = 6371000.0  # mean radius, IUGG (memory)
_LAPSE_K_M = 0.0065  # International Standard Atmosphere, ISO 2533:1975
_TROPOPAUSE_M = 11000.0  # International Standard Atmosphere, ISO 2533:1975
_TOP_M = 85000.0  # above it less than 1e-5 of the air is left
_GRAVITY_M_S2 = 9.80665  # standard acceleration, ISO 80000-3
_MOLAR_MASS_DRY_KG = 0.0289644  # per mole of dry air, ISO 2533:1975 (0.02896442)
_GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018, exact
_VAPOUR_EXPONENT = 18.36  # Hohenkerk & Sinclair, NAO Technical Note 63 (1985): vapour falls as (T/T0)^18.36
_LARGEST_OBSERVED_Z_RAD = np.radians(88.9)  # end of the table; lower nothing is simulated


@dataclass(frozen=True, eq=False)
class RefractionTable:
    """R / tan(z) (rad) over the true zenith distance z (rad), both (K,) and rising in z."""

    true_z_rad: FloatArray
    ratio: FloatArray

    def bending_rad(self, true_z_rad: FloatArray) -> FloatArray:
        """How far a ray from the true zenith distance appears raised; below the horizon the last value holds."""
        z = np.clip(true_z_rad, 0.0, self.true_z_rad[-1])
        return np.asarray(np.interp(z, self.true_z_rad, self.ratio) * np.tan(z))


def refract(enu_true: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """Observed directions (..., 3) in ENU of true directions (..., 3), raised toward the zenith."""
    if atmosphere.pressure_hpa <= 0.0:
        return enu_true
    horizontal = np.hypot(enu_true[..., 0], enu_true[..., 1])
    z = np.arctan2(horizontal, enu_true[..., 2])
    seen_z = z - refraction_table(atmosphere).bending_rad(z)
    scale = np.sin(seen_z) / np.where(horizontal > 1e-15, horizontal, 1.0)
    return np.stack([enu_true[..., 0] * scale, enu_true[..., 1] * scale, np.cos(seen_z)], axis=-1)


@lru_cache(maxsize=32)
def refraction_table(atmosphere: Atmosphere) -> RefractionTable:
    """The table of one atmosphere, from rays traced at 2400 observed zenith distances."""
    seen_z = np.linspace(1e-4, _LARGEST_OBSERVED_Z_RAD, 2400)
    bending = np.concatenate([trace(part, atmosphere) for part in np.array_split(seen_z, 12)])
    true_z = seen_z + bending
    ratio = bending / np.tan(true_z)
    keep = true_z < np.radians(89.2)
    return RefractionTable(np.concatenate([[0.0], true_z[keep]]), np.concatenate([ratio[:1], ratio[keep]]))


def trace(observed_z_rad: FloatArray, atmosphere: Atmosphere) -> FloatArray:
    """Bending (K,), rad, of rays that arrive at the observed zenith distances (K,), below 89 degrees."""
    height, weight = _heights()
    n, slope = _index_of_refraction(height, atmosphere)
    n0 = _index_of_refraction(np.zeros(1), atmosphere)[0][0]
    lever = n0 * _EARTH_RADIUS_M / (n * (_EARTH_RADIUS_M + height))
    sine = np.sin(observed_z_rad)[:, None] * lever[None, :]
    tangent = sine / np.sqrt(1.0 - sine * sine)
    return np.asarray(-(tangent * (slope / n * weight)[None, :]).sum(axis=1))


def _heights() -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes (m) and weights over troposphere and stratosphere; dn/dr jumps between the two."""
    edges = [0.0, 600.0, 3000.0, _TROPOPAUSE_M, 25000.0, 50000.0, _TOP_M]
    x, w = np.polynomial.legendre.leggauss(16)
    parts = [(0.5 * (b - a) * x + 0.5 * (a + b), 0.5 * (b - a) * w) for a, b in pairwise(edges)]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _index_of_refraction(height_m: FloatArray, atmosphere: Atmosphere) -> tuple[FloatArray, FloatArray]:
    """Index of refraction n and dn/dr (1/m) at the heights above the observer."""
    t0 = atmosphere.temperature_c + 273.15
    exponent = _GRAVITY_M_S2 * _MOLAR_MASS_DRY_KG / (_GAS_CONSTANT * _LAPSE_K_M)
    vapour = atmosphere.relative_humidity * _saturation_pressure_hpa(atmosphere.temperature_c)
    dry = _dry_refractivity(atmosphere.wavelength_um) * atmosphere.pressure_hpa / t0
    wet = _vapour_refractivity(atmosphere.wavelength_um) * vapour * 283.15 / t0
    ratio = np.maximum(t0 - _LAPSE_K_M * height_m, t0 - _LAPSE_K_M * _TROPOPAUSE_M) / t0
    dry_low = dry * ratio ** (exponent - 1.0)
    wet_low = wet * ratio ** (_VAPOUR_EXPONENT - 1.0)
    cold_k = t0 - _LAPSE_K_M * _TROPOPAUSE_M
    scale_m = _GAS_CONSTANT * cold_k / (_MOLAR_MASS_DRY_KG * _GRAVITY_M_S2)
    fall = np.exp(-np.maximum(height_m - _TROPOPAUSE_M, 0.0) / scale_m)
    low = height_m < _TROPOPAUSE_M
    dry_slope = np.where(low, -(exponent - 1.0) * _LAPSE_K_M / (t0 * ratio), -1.0 / scale_m)
    wet_slope = np.where(low, -(_VAPOUR_EXPONENT - 1.0) * _LAPSE_K_M / (t0 * ratio), -1.0 / scale_m)
    n = 1.0 + (dry_low + wet_low) * fall
    return n, (dry_low * dry_slope + wet_low * wet_slope) * fall


def _dry_refractivity(wavelength_um: float) -> float:
    """(n - 1) T / P of dry air, K/hPa, from Peck & Reeder, J. Opt. Soc. Am. 62, 958 (1972): 15 C, 1013.25 hPa."""
    s2 = wavelength_um**-2
    standard = 1e-8 * (5791817.0 / (238.0185 - s2) + 167909.0 / (57.362 - s2))
    return standard * 288.15 / 1013.25


def _vapour_refractivity(wavelength_um: float) -> float:
    """Change of n per hPa of vapour that takes the place of dry air: Birch & Downs, Metrologia 30, 155 (1993)."""
    return -1e-8 * (3.7345 - 0.0401 * wavelength_um**-2)


def _saturation_pressure_hpa(temperature_c: float) -> float:
    """Magnus formula over water, WMO-No. 8, annex 4.B."""
    return float(6.112 * np.exp(17.62 * temperature_c / (243.12 + temperature_c)))
