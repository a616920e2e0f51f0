"""Unit constants and small angle arithmetic."""

from __future__ import annotations

import math

import numpy as np

from polewright.core.model import FloatArray

ARCSEC_PER_RAD = 206264.80624709636  # 180 * 3600 / pi
ARCMIN_PER_RAD = ARCSEC_PER_RAD / 60.0
SIDEREAL_RATE_RAD_S = 7.292115e-5  # Earth rotation rate, IERS Conventions 2010 table 1.2 (rounded)


def unit(v: FloatArray) -> FloatArray:
    """`v` (..., 3) scaled to length 1."""
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def separation_rad(a: FloatArray, b: FloatArray) -> FloatArray:
    """Angle between unit vectors (..., 3), rad, exact at arcseconds where arccos(dot) is not."""
    return np.asarray(2.0 * np.arctan2(np.linalg.norm(a - b, axis=-1), np.linalg.norm(a + b, axis=-1)))


def wrap_pi(angle_rad: FloatArray | float) -> FloatArray:
    """The same angle within -pi <= angle < pi."""
    return np.asarray((np.asarray(angle_rad) + np.pi) % (2.0 * np.pi) - np.pi)


def rotation_about(axis: FloatArray, angle_rad: float) -> FloatArray:
    """Right-handed rotation matrix (3, 3) by `angle_rad` about the unit vector `axis` (Rodrigues)."""
    x, y, z = (float(component) for component in axis)
    sine, rest = math.sin(angle_rad), 2.0 * math.sin(0.5 * angle_rad) ** 2
    return np.array(
        [
            [1.0 - rest * (y * y + z * z), rest * x * y - sine * z, rest * x * z + sine * y],
            [rest * x * y + sine * z, 1.0 - rest * (x * x + z * z), rest * y * z - sine * x],
            [rest * x * z - sine * y, rest * y * z + sine * x, 1.0 - rest * (x * x + y * y)],
        ]
    )


def turned_about(axis: FloatArray, v: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """`v` (3,) turned right-handed about the unit vector `axis` by each angle (S,), (S, 3) (Rodrigues)."""
    along = axis * (axis @ v)
    cosine, sine = np.cos(angle_rad)[:, None], np.sin(angle_rad)[:, None]
    return np.asarray(along + cosine * (v - along) + sine * np.cross(axis, v))


def sky_to_vector(lon_rad: FloatArray | float, lat_rad: FloatArray | float) -> FloatArray:
    """Unit vectors (..., 3) from longitude (RA) and latitude (Dec), rad."""
    lon, lat = np.asarray(lon_rad), np.asarray(lat_rad)
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def vector_to_sky(v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(longitude, latitude) in rad, 0 <= longitude < 2 pi, of unit vectors (..., 3)."""
    lon = np.arctan2(v[..., 1], v[..., 0]) % (2.0 * np.pi)
    return np.asarray(lon), np.asarray(np.arctan2(v[..., 2], np.hypot(v[..., 0], v[..., 1])))
