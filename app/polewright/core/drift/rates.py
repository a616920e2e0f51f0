"""What a polar error does to a star while the drive runs: the drift method in closed form, and its enemy, refraction.

First order, both hemispheres. Error (east a, up b) on the sky, hour angle H west positive, `dec_p` the declination
counted toward the ELEVATED pole. Units rad and s.
Sources: Covington, Astrophotography for the Amateur, 2nd ed. (1999), appendix B; Barrett, Measuring Polar Axis
Alignment Error, 3rd ed. (2016).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.sky.places import hemisphere_sign, pole_enu, true_pole_enu
from polewright.core.sky.refraction import refract, refraction_constants


@dataclass(frozen=True)
class DriftRates:
    """Apparent motion of a star, rad/s: `dec_p` toward the elevated pole, `east` on the sky (exact sidereal drive),
    `rotation` of the unguided field, sky relative to camera, right-handed outward."""

    dec_p: float
    east: float
    rotation: float


def drift_rates(
    east_rad: float, up_rad: float, hour_angle_rad: float, dec_p_rad: float, hemisphere: float = 1.0
) -> DriftRates:
    """The three motions of a star at that place."""
    c, s = np.cos(hour_angle_rad), np.sin(hour_angle_rad)
    leaning = east_rad * s - up_rad * c
    return DriftRates(
        dec_p=float(-SIDEREAL_RATE_RAD_S * (east_rad * c + up_rad * s)),
        east=float(SIDEREAL_RATE_RAD_S * np.sin(dec_p_rad) * leaning),
        rotation=float(-hemisphere * SIDEREAL_RATE_RAD_S * np.cos(dec_p_rad) * leaning),
    )


def star_enu(site: Site, hour_angle_rad: float | FloatArray, dec_p_rad: float | FloatArray) -> FloatArray:
    """Direction (..., 3) in ENU, without air, of an hour angle and a declination toward the elevated pole."""
    pole = true_pole_enu(site)
    side = hemisphere_sign(site)
    meridian = np.array([0.0, -side * pole[2], abs(pole[1])])
    h, d = np.broadcast_arrays(hour_angle_rad, dec_p_rad)
    west = np.array([-1.0, 0.0, 0.0])
    around = np.multiply.outer(np.cos(h), meridian) + np.multiply.outer(np.sin(h), west)
    return np.asarray(np.cos(d)[..., None] * around + np.multiply.outer(np.sin(d), pole))


def refraction_bias_rad(
    site: Site, atmosphere: Atmosphere, hour_angle_rad: float, dec_p_rad: float, axis: TargetPole = TargetPole.TRUE
) -> float:
    """Declination drift over the sidereal rate, of a mount with its axis exactly on a pole: what the air alone fakes.

    The error, rad, that the textbook would read from a star there. East of the meridian it is negative for a star low
    on the equator: the star rises out of thick air, which lifts it less and less.
    """
    step_s = 60.0
    hours = hour_angle_rad + SIDEREAL_RATE_RAD_S * np.array([-0.5, 0.5]) * step_s
    seen = refract(star_enu(site, hours, dec_p_rad), refraction_constants(atmosphere))
    dec = np.arcsin(seen @ pole_enu(site, atmosphere, axis))
    return float((dec[1] - dec[0]) / (SIDEREAL_RATE_RAD_S * step_s))
