"""A ray of light followed step by step through a spherical standard atmosphere, for checks of refraction.

The path is integrated as a curve in space, d/ds (n dx/ds) = grad n (Born & Wolf, Principles of Optics, section 3.2),
with temperature and pressure by height of ISO 2533:1975 (-6.5 K/km up to 11 km, isothermal above) and the
refractivity of dry air of Peck & Reeder, J. Opt. Soc. Am. 62, 958 (1972). Nothing is shared with the program or its
simulator: no integral over the height, no formula in tan z, no table.
"""

from __future__ import annotations

from math import atan2, cos, exp, hypot, sin

import numpy as np
from scipy.integrate import solve_ivp

from polewright.core.model import FloatArray

EARTH_M, TROPOPAUSE_M, SPACE_M = 6_371_000.0, 11_000.0, 100_000.0
LAPSE_K_M = 0.0065
G_M_OVER_R = 0.0341632  # K/m: ISO 2533:1975 (9.80665, 28.964420e-3 kg/mol, 8.31432 J/(K mol))
WAVELENGTH_UM = 0.574


def refractivity(height_m: float, pressure_hpa: float, temperature_c: float) -> float:
    """n - 1 of dry air at a height above the observer."""
    s2 = WAVELENGTH_UM**-2
    usual = 1e-8 * (5_791_817.0 / (238.0185 - s2) + 167_909.0 / (57.362 - s2))  # at 15 C and 1013.25 hPa
    ground = temperature_c + 273.15
    here = ground - LAPSE_K_M * min(height_m, TROPOPAUSE_M)
    pressure = pressure_hpa * (here / ground) ** (G_M_OVER_R / LAPSE_K_M)
    pressure *= exp(-G_M_OVER_R / here * max(height_m - TROPOPAUSE_M, 0.0))
    return float(usual * pressure / 1013.25 * 288.15 / here)


def bending_of_seen(altitude_rad: float, pressure_hpa: float, temperature_c: float) -> float:
    """How far, rad, a ray that arrives at this altitude has been bent: followed backwards, out of the air."""

    def index(x: float, y: float) -> float:
        return 1.0 + refractivity(hypot(x, y) - EARTH_M, pressure_hpa, temperature_c)

    def along(_: float, state: FloatArray) -> FloatArray:
        x, y, u, v = state
        r, n = hypot(x, y), index(x, y)
        below, above = (refractivity(r - EARTH_M + dh, pressure_hpa, temperature_c) for dh in (-1.0, 1.0))
        slope = (above - below) / 2.0
        return np.array([u / n, v / n, slope * x / r, slope * y / r])

    def out(_: float, state: FloatArray) -> float:
        return hypot(float(state[0]), float(state[1])) - EARTH_M - SPACE_M

    out.terminal = True  # type: ignore[attr-defined]
    n0 = index(0.0, EARTH_M)
    start = np.array([0.0, EARTH_M, n0 * cos(altitude_rad), n0 * sin(altitude_rad)])
    path = solve_ivp(along, (0.0, 3e6), start, method="DOP853", events=out, rtol=1e-11, atol=1e-9, max_step=2e4)
    u, v = path.y[2, -1], path.y[3, -1]
    return float(altitude_rad - atan2(v, u))


def bending_of_true(altitude_rad: float, pressure_hpa: float, temperature_c: float) -> float:
    """How far a direction is raised whose altitude without air this is: the ray that arrives, by fixed point."""
    bending = 0.0
    for _ in range(60):
        before, bending = bending, bending_of_seen(altitude_rad + bending, pressure_hpa, temperature_c)
        if abs(bending - before) < 2e-8:
            break
    return bending
