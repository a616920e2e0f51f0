"""Where to point for a proof by drift, and how long it takes.

A star on the meridian answers to the azimuth error alone, one six hours off to the altitude error alone. Low in the
east or west the air moves stars too: the program takes refraction out, but the air is known to some per cent only, so
that places where there is little to take out are better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.drift.rates import refraction_bias_rad, star_enu
from polewright.core.model import Atmosphere, FloatArray, Site
from polewright.core.sky.places import hemisphere_sign

MERIDIAN_ALTITUDE_RAD = np.radians(35.0)  # lower, the air hides what is looked for (chosen)
# east and west: high enough for steady air, low enough to tell the altitude (chosen)
SIDE_ALTITUDE_RAD = np.radians(30.0)
AIR_DOUBT = 0.05  # of refraction, for air that is not the standard one
USUAL_SIGMA_RAD = np.radians(15.0 / 3600.0)  # what some minutes of watching reach: weighs certainty against air


@dataclass(frozen=True)
class DriftPosition:
    """A place to point at: hour angle (west positive), declination (north positive), altitude; what it tells.

    `refraction_arcmin`: what the air alone fakes there, before it is taken out.
    """

    hour_angle_h: float
    declination_deg: float
    altitude_deg: float
    refraction_arcmin: float
    why: str


def field_rad(hour_angle_h: float, declination_deg: float, site: Site) -> tuple[float, float]:
    """Hour angle (west positive) and declination toward the elevated pole of the site, rad, of a field."""
    return math.radians(15.0 * hour_angle_h), hemisphere_sign(site) * math.radians(declination_deg)


def best_positions(site: Site, atmosphere: Atmosphere, side: str = "east") -> tuple[DriftPosition, DriftPosition]:
    """One position near the meridian for the azimuth, one to the "east" or "west" for the altitude."""
    return _meridian_position(site, atmosphere), _side_position(site, atmosphere, -1.0 if side == "east" else 1.0)


def predicted_sigmas_rad(
    hour_angles_h: Sequence[float], seconds_each: float, noise_rad: float, cadence_s: float
) -> tuple[float, float]:
    """Sigma of (east, up) after watching each hour angle for so long, one frame every `cadence_s`, white noise.

    The slope of each has sigma noise sqrt(12 cadence) / T^1.5; one position alone leaves one direction unknown (inf).
    """
    slope = noise_rad * np.sqrt(12.0 * cadence_s) / seconds_each**1.5 / SIDEREAL_RATE_RAD_S
    h = np.radians(15.0 * np.asarray(hour_angles_h, dtype=float))
    design = np.stack([np.cos(h), np.sin(h)], axis=1)
    information = design.T @ design
    if np.linalg.det(information) < 1e-6:
        sharp = [float(slope / np.sqrt(x)) if x > 1e-6 else np.inf for x in np.diag(information)]
        return sharp[0], sharp[1]
    covariance = np.linalg.inv(information) * slope**2
    return float(np.sqrt(covariance[0, 0])), float(np.sqrt(covariance[1, 1]))


def predicted_seconds(
    hour_angles_h: Sequence[float], wanted_rad: float, noise_rad: float, cadence_s: float, allowance: float = 1.0
) -> float:
    """How long to watch each position until the less certain of the two components is known to `wanted_rad`.

    `allowance` stretches the time: seeing is not white noise.
    """
    sigma = max(predicted_sigmas_rad(hour_angles_h, 1.0, noise_rad, cadence_s))
    return float(allowance * (sigma / wanted_rad) ** (2.0 / 3.0))


def _meridian_position(site: Site, atmosphere: Atmosphere) -> DriftPosition:
    """On the meridian above 35 degrees, as near to the equator as that allows, where frames are easiest to solve."""
    dec_p = np.radians(np.arange(-60.0, 80.0, 5.0))
    high = np.arcsin(star_enu(site, 0.0, dec_p)[:, 2]) >= MERIDIAN_ALTITUDE_RAD + np.radians(10.0)
    choices = dec_p[high] if high.any() else dec_p
    nearest = choices[np.argmin(np.abs(choices))] + 0.0  # no -0.0
    return _position(site, atmosphere, 0.0, float(nearest), "azimuth")


def _side_position(site: Site, atmosphere: Atmosphere, side: float) -> DriftPosition:
    """Four to six hours off the meridian, declination 50 to 75 toward the pole: the least loss of certainty, counting
    what is not known of the air; higher than 30 degrees where the sky offers it."""
    hours, dec_p = np.meshgrid(np.arange(4.0, 6.01, 0.25), np.radians(np.arange(50.0, 75.1, 2.5)))
    hours, dec_p = hours.ravel(), dec_p.ravel()
    angles = np.radians(15.0 * side * hours)
    altitude = np.arcsin(star_enu(site, angles, dec_p)[:, 2])
    air = np.array([refraction_bias_rad(site, atmosphere, h, d) for h, d in zip(angles, dec_p)])
    loss = np.hypot(USUAL_SIGMA_RAD / np.abs(np.sin(angles)), AIR_DOUBT * air) / USUAL_SIGMA_RAD
    lack = np.maximum(SIDE_ALTITUDE_RAD - altitude, 0.0)
    best = int(np.argmin(loss + 20.0 * lack))
    return _position(site, atmosphere, float(side * hours[best]), float(dec_p[best]), "altitude")


def _position(site: Site, atmosphere: Atmosphere, hour_h: float, dec_p_rad: float, why: str) -> DriftPosition:
    hour = float(np.radians(15.0 * hour_h))
    altitude: FloatArray = np.arcsin(star_enu(site, hour, dec_p_rad)[2])
    return DriftPosition(
        hour_angle_h=hour_h,
        declination_deg=float(np.degrees(dec_p_rad)) * (1.0 if site.lat_deg >= 0.0 else -1.0) + 0.0,
        altitude_deg=float(np.degrees(altitude)),
        refraction_arcmin=float(np.degrees(refraction_bias_rad(site, atmosphere, hour, dec_p_rad)) * 60.0),
        why=why,
    )
