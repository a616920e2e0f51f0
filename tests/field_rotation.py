"""Field rotation and trailing that a polar error causes, in closed form and as an exact simulation.

Angles in rad, times in s. The error is (east, up) on the sky against the pole about which the sky turns; hour angle
is positive to the west; `dec_p` is the declination counted positive toward the ELEVATED pole, so that both
hemispheres share one formula but for the sense of rotation (`hemisphere` +1 north, -1 south).
Sources: closed forms after Covington, Astrophotography for the Amateur, 2nd ed. (1999), appendix B, and Hook,
J. Brit. Astron. Assoc. 99(1), 19 (1989); the exact simulation is plain rotations.
"""

from __future__ import annotations

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S, rotation_about
from polewright.core.model import FloatArray
from polewright.core.plan.exposure_blur import displaced_pole


def guided_rotation_rad(
    east_rad: float, up_rad: float, mid_hour_angle_rad: float, dec_p_rad: float, seconds: float, hemisphere: int = 1
) -> float:
    """Rotation of the field about the guide star over one exposure, sky relative to camera, first order."""
    half = 0.5 * SIDEREAL_RATE_RAD_S * seconds
    leaning = up_rad * np.cos(mid_hour_angle_rad) - east_rad * np.sin(mid_hour_angle_rad)
    return float(hemisphere * 2.0 * np.sin(half) * leaning / np.cos(dec_p_rad))


def guided_trail_rad(rotation_rad: float, distance_rad: float) -> float:
    """Length of the trail at `distance_rad` from the guide star."""
    return abs(rotation_rad) * distance_rad


def unguided_drift_bound_rad(error_rad: float, seconds: float) -> float:
    """The farthest any star can drift in an unguided exposure: |W x s| <= w E."""
    return SIDEREAL_RATE_RAD_S * seconds * error_rad


def guided_rotation_exact_rad(
    latitude_rad: float,
    east_rad: float,
    up_rad: float,
    mid_hour_angle_rad: float,
    dec_p_rad: float,
    seconds: float,
) -> float:
    """Rotation of the field about a perfectly guided star over one exposure, from plain rotations; no small angles.

    The mount axis is the celestial pole moved by `up_rad` and `east_rad`. The mount is driven in hour angle and
    declination so that the star stays put; what is left is a rotation about it.
    """
    hemisphere = 1 if latitude_rad >= 0.0 else -1
    pole = np.array([0.0, hemisphere * np.cos(latitude_rad), abs(np.sin(latitude_rad))])
    axis = displaced_pole(pole, east_rad, up_rad)
    start = _camera_on_star(pole, axis, hemisphere, mid_hour_angle_rad, dec_p_rad, -0.5 * seconds)
    end = _camera_on_star(pole, axis, hemisphere, mid_hour_angle_rad, dec_p_rad, 0.5 * seconds)
    # the sky seen from the camera, before and after: what is left is a rotation about the star
    turn = end.T @ rotation_about(pole, -hemisphere * SIDEREAL_RATE_RAD_S * seconds) @ start
    return float(np.arctan2(turn[1, 0] - turn[0, 1], turn[0, 0] + turn[1, 1]))


def _camera_on_star(
    pole: FloatArray, axis: FloatArray, hemisphere: int, hour_angle_rad: float, dec_p_rad: float, seconds: float
) -> FloatArray:
    """Camera axes (columns x, y, outward) of a mount on `axis` pointed exactly at the star."""
    angle = -hemisphere * (hour_angle_rad + SIDEREAL_RATE_RAD_S * seconds)
    meridian = np.array([0.0, -pole[2], pole[1]])  # toward the zenith side of the equator, on the meridian
    meridian = meridian * np.sign(meridian[2]) if meridian[2] else meridian
    equator = rotation_about(pole, angle) @ meridian
    star = np.cos(dec_p_rad) * equator + np.sin(dec_p_rad) * pole
    north = axis - (axis @ star) * star
    north = north / np.linalg.norm(north)
    return np.stack([np.cross(north, star), north, star], axis=1)
