"""The exact simulation of one exposure: how far the stars wander over the sensor while the shutter is open.

True sky turning about the true pole, refracted directions, a mount driven at the sidereal rate about its own axis,
and, when guided, corrections in right ascension and declination that hold the guide star still. Plain rotations; no
small angles. What is left out is what the polar axis has no part in: periodic error, wind, seeing, flexure.

Axes of the mount frame: q along the RA axis (north-side end), m square to it toward the boresight, d = q x m, about
which the declination turns. Hour angle is positive to the west, declination is geographic (north positive).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.sky.places import pole_enu
from polewright.core.sky.refraction import refract, refraction_constants

MOMENTS = 7  # per exposure; the path is a smooth arc
RIM = 16  # directions in which a corner, and the guide star, may lie: the camera's angle on the sky is left open
_OPPOSITE = np.arange(-1, 2) + RIM // 2  # the corners farthest from a guide star, seen from the centre


@dataclass(frozen=True)
class Shot:
    """One exposure of a plan: focal length over pixel, where it looks, how long, and how the mount is held.

    `half_diagonal_rad` reaches from the centre to a corner. `guide_offset_rad` is the distance of the guide star from
    the centre, None when unguided.
    """

    latitude_rad: float
    declination_rad: float
    seconds: float
    focal_px: float
    half_diagonal_rad: float
    guide_offset_rad: float | None
    atmosphere: Atmosphere


def blur_px(shot: Shot, axis_enu: FloatArray, mid_hour_angle_rad: FloatArray) -> FloatArray:
    """Longest trail (J, M), in pixels, of any star in the field, for J axes (J, 3) at M hour angles (M,).

    The axis is given on the side of the elevated pole. The trail is the largest distance between two places of a star
    on the sensor. With a guide star, the worst of all directions in which it may lie.
    """
    side = 1.0 if shot.latitude_rad >= 0.0 else -1.0
    offsets = np.concatenate([np.zeros((1, 2)), np.tan(shot.half_diagonal_rad) * _rim()])
    stars = _observed(shot, mid_hour_angle_rad, offsets)  # (M, K, P, 3)
    north_end = side * axis_enu
    seen = _in_mount_frame(stars, north_end)  # (J, M, K, P, 3)
    paths = _driven(seen, _clock(shot.seconds))
    if shot.guide_offset_rad is None:
        return _longest(_on_sensor(paths, shot.focal_px))
    guides = _observed(shot, mid_hour_angle_rad, np.tan(shot.guide_offset_rad) * _rim())
    held = _driven(_in_mount_frame(guides, north_end, like=stars), _clock(shot.seconds))
    centre = paths[..., MOMENTS // 2, 0, :]
    trails = []
    for g in range(RIM):
        far = paths[..., np.concatenate([[0], 1 + (g + _OPPOSITE) % RIM]), :]
        trails.append(_longest(_on_sensor(_guided(far, held[..., g, :]), shot.focal_px, centre)))
    return np.asarray(np.max(trails, axis=0))


def axes_around(
    latitude_rad: float, atmosphere: Atmosphere, target: TargetPole, east_rad: FloatArray, up_rad: FloatArray
) -> FloatArray:
    """Axes (J, 3) in ENU that are (east, up) off the target pole, each (J,)."""
    pole = pole_enu(Site(float(np.degrees(latitude_rad)), 0.0), atmosphere, target)
    return np.stack([displaced_pole(pole, e, u) for e, u in zip(np.atleast_1d(east_rad), np.atleast_1d(up_rad))])


def altitude_rad(latitude_rad: float, declination_rad: float, hour_angle_rad: FloatArray) -> FloatArray:
    """Altitude without air of a declination at hour angles (M,)."""
    return np.asarray(
        np.arcsin(
            np.sin(latitude_rad) * np.sin(declination_rad)
            + np.cos(latitude_rad) * np.cos(declination_rad) * np.cos(hour_angle_rad)
        )
    )


def _rim() -> FloatArray:
    angle = np.arange(RIM) * (2.0 * np.pi / RIM)
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _clock(seconds: float) -> FloatArray:
    """Seconds from mid-exposure (K,)."""
    return np.linspace(-0.5, 0.5, MOMENTS) * seconds


def _observed(shot: Shot, mid_hour_angle_rad: FloatArray, offsets: FloatArray) -> FloatArray:
    """Observed ENU (M, K, P, 3) through the exposure of stars at tangent offsets (P, 2), north and west."""
    dec, phi = shot.declination_rad, shot.latitude_rad
    hour = mid_hour_angle_rad[:, None, None] + SIDEREAL_RATE_RAD_S * _clock(shot.seconds)[:, None]
    north, west = offsets[:, 0], offsets[:, 1]
    # the star in axes (meridian, west, north) that turn with the target
    z = np.cos(dec) * north + np.sin(dec)
    x, y = np.cos(dec) - np.sin(dec) * north, west
    length = np.sqrt(x * x + y * y + z * z)
    x, y, z = x / length, y / length, z / length
    toward, across = x * np.cos(hour) - y * np.sin(hour), x * np.sin(hour) + y * np.cos(hour)
    true = np.stack(
        [-across, -np.sin(phi) * toward + np.cos(phi) * z, np.cos(phi) * toward + np.sin(phi) * z], axis=-1
    )
    return refract(true, refraction_constants(shot.atmosphere))


def _in_mount_frame(stars: FloatArray, q: FloatArray, like: FloatArray | None = None) -> FloatArray:
    """Components (J, M, K, P, 3) along q, m, d; m points to the centre star of `like` at mid-exposure."""
    centre = (stars if like is None else like)[:, MOMENTS // 2, 0, :]
    along = np.einsum("jc,mc->jm", q, centre)
    m = centre[None] - along[..., None] * q[:, None, :]
    length = np.linalg.norm(m, axis=-1, keepdims=True)
    # a target on the axis itself has no direction about it: any will do, and east is never along an axis
    m = np.where(length > 1e-12, m, np.cross(q, [1.0, 0.0, 0.0])[:, None, :])
    m = m / np.linalg.norm(m, axis=-1, keepdims=True)
    d = np.cross(np.broadcast_to(q[:, None, :], m.shape), m)
    basis = np.stack([np.broadcast_to(q[:, None, :], m.shape), m, d], axis=-1)  # (J, M, 3, 3)
    return np.asarray(np.einsum("mkpc,jmcb->jmkpb", stars, basis))


def _driven(seen: FloatArray, clock_s: FloatArray) -> FloatArray:
    """The same as the mount sees it, driven at the sidereal rate: turned back about q by w t."""
    angle = (SIDEREAL_RATE_RAD_S * clock_s)[:, None]
    c, s = np.cos(angle), np.sin(angle)
    m, d = seen[..., 1], seen[..., 2]
    return np.stack([seen[..., 0], c * m - s * d, s * m + c * d], axis=-1)


def _guided(paths: FloatArray, guide: FloatArray) -> FloatArray:
    """Star paths (J, M, K, P, 3) with the guide star (J, M, K, 3) held still by both axes."""
    q0, m0, d0 = (guide[..., MOMENTS // 2, i][..., None] for i in range(3))
    reach, at_first = np.hypot(q0, m0), np.arctan2(m0, q0)
    side = np.where(at_first < 0.0, -1.0, 1.0)
    delta = side * np.arccos(np.clip(guide[..., 0] / reach, -1.0, 1.0)) - at_first
    m_moved = q0 * np.sin(delta) + m0 * np.cos(delta)
    alpha = np.arctan2(guide[..., 2], guide[..., 1]) - np.arctan2(d0, m_moved)
    ca, sa, cd, sd = (f(x)[..., None] for x in (alpha, delta) for f in (np.cos, np.sin))
    q, m, d = paths[..., 0], ca * paths[..., 1] + sa * paths[..., 2], ca * paths[..., 2] - sa * paths[..., 1]
    return np.stack([cd * q + sd * m, cd * m - sd * q, d], axis=-1)


def _on_sensor(paths: FloatArray, focal_px: float, centre: FloatArray | None = None) -> FloatArray:
    """Pixels (J, M, K, P, 2) on a sensor that looks at `centre` (the first star at mid-exposure)."""
    z = paths[..., MOMENTS // 2, 0, :] if centre is None else centre
    zq, zm = z[..., 0][..., None, None], z[..., 1][..., None, None]
    q, m, d = paths[..., 0], paths[..., 1], paths[..., 2]
    out = q * zq + m * zm
    return np.stack([d / out, (q * zm - m * zq) / out], axis=-1) * focal_px


def _longest(pixels: FloatArray) -> FloatArray:
    """Largest distance between any two moments, over all stars: (J, M)."""
    best = np.zeros(pixels.shape[:2])
    for lag in range(1, MOMENTS):
        step = pixels[:, :, lag:] - pixels[:, :, :-lag]
        best = np.maximum(best, np.hypot(step[..., 0], step[..., 1]).max(axis=(2, 3)))
    return best


def displaced_pole(pole_enu: FloatArray, east_rad: float, up_rad: float) -> FloatArray:
    """Unit vector of an axis that is off `pole_enu` by (east, up) on the sky, along great circles."""
    horizontal = np.array([1.0, 0.0, 0.0])
    upward = np.array([0.0, 0.0, 1.0]) - pole_enu[2] * pole_enu
    upward = upward / np.linalg.norm(upward)
    size = float(np.hypot(east_rad, up_rad))
    if size == 0.0:
        return np.asarray(pole_enu, dtype=float)
    toward = (east_rad * horizontal + up_rad * upward) / size
    return np.asarray(np.cos(size) * pole_enu + np.sin(size) * toward)
