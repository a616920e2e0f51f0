"""Pixels <-> unit vectors in the camera frame (x right, y down, z along the boresight)."""

from __future__ import annotations

import numpy as np

from polewright.core.model import Camera, FloatArray, SharedError


def pixel_to_vector(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """Unit vectors (N, 3) in the camera frame of pixel positions (N,), un-mirrored and free of distortion."""
    ux, uy = _scaled(camera, x_px, y_px)
    r2 = ux * ux + uy * uy
    factor = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    x, y = ux * factor, uy * factor
    v = np.stack([x, y, np.ones_like(x)], axis=-1)
    return np.asarray(v / np.sqrt(x * x + y * y + 1.0)[..., None])


def vector_to_pixel(camera: Camera, v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pixel positions (N,) of unit vectors (N, 3) in the camera frame; NaN for vectors behind the camera."""
    z = np.where(v[..., 2] > 1e-6, v[..., 2], np.nan)
    x, y = v[..., 0] / z, v[..., 1] / z
    if camera.k1 or camera.k2:
        target = np.hypot(x, y)
        r = target.copy()
        for _ in range(12):  # Newton on r (1 + k1 r^2 + k2 r^4) = target
            r2 = r * r
            slope = 1.0 + r2 * (3.0 * camera.k1 + 5.0 * camera.k2 * r2)
            r = r - (r * (1.0 + r2 * (camera.k1 + camera.k2 * r2)) - target) / np.where(slope > 0.05, slope, np.nan)
        with np.errstate(invalid="ignore", divide="ignore"):
            shrink = np.where(target > 0.0, r / np.where(target > 0.0, target, 1.0), 1.0)
        x, y = x * shrink, y * shrink
    sign = -1.0 if camera.mirrored else 1.0
    cx, cy = (camera.width_px - 1) / 2.0, (camera.height_px - 1) / 2.0
    return np.asarray(sign * x * camera.focal_px + cx), np.asarray(y * camera.focal_px + cy)


def _scaled(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    sign = -1.0 if camera.mirrored else 1.0
    cx, cy = (camera.width_px - 1) / 2.0, (camera.height_px - 1) / 2.0
    return (
        np.asarray(sign * (np.asarray(x_px, dtype=float) - cx) / camera.focal_px),
        np.asarray((np.asarray(y_px, dtype=float) - cy) / camera.focal_px),
    )


def moved_alike_rad2(camera: Camera, error: SharedError) -> FloatArray:
    """Covariance (3, 3), rad^2, in camera axes, of one sigma by which the whole picture moves along x and y (px) and
    turns (rad, from +x towards +y), all together, and of a turn by itself: a move along x is a turn about y."""
    x, y, turn, own_turn = error
    side = -1.0 if camera.mirrored else 1.0
    vector = np.array([-y / camera.focal_px, side * x / camera.focal_px, side * turn])
    return np.asarray(np.outer(vector, vector) + np.diag([0.0, 0.0, own_turn**2]))
