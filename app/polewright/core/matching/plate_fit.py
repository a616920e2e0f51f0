"""Weighted least squares of attitude, scale and radial distortion on matched stars.

The residual of a star is the difference of two places in the tangent plane: its pixel, freed of distortion, and its
catalogue direction in camera axes. Unknowns: rotation vector eps (C_true = C @ Rot(eps)), ln focal length, k1, k2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import rotation_about
from polewright.core.model import Camera, FloatArray


@dataclass(frozen=True, eq=False)
class PlateFit:
    """`covariance` (P, P) of (eps, ln focal, k1, k2 as far as fitted), from the given sigmas, not rescaled.

    `residual_px` (M, 2): detected minus predicted, along camera x and y (un-mirrored).
    """

    camera: Camera
    camera_to_sky: FloatArray
    covariance: FloatArray
    residual_px: FloatArray
    chi2: float
    dof: int


@dataclass(frozen=True)
class FitPlan:
    """Which unknowns are free. `known_focal_px` is good to the fraction `scale_sigma`, unless None."""

    distortion_terms: int = 0
    known_focal_px: float | None = None
    scale_sigma: float | None = None
    rounds: int = 6


def fit_plate(
    camera: Camera,
    camera_to_sky: FloatArray,
    x_px: FloatArray,
    y_px: FloatArray,
    sigma_px: FloatArray,
    icrs: FloatArray,
    plan: FitPlan,
) -> PlateFit:
    """Fit M >= 2 stars, pixels (M,), to unit vectors `icrs` (M, 3), from a start that is right to a few degrees."""
    sign = -1.0 if camera.mirrored else 1.0
    pixels = np.stack([sign * (x_px - (camera.width_px - 1) / 2.0), y_px - (camera.height_px - 1) / 2.0], axis=-1)
    terms = 4 + plan.distortion_terms
    rotation = camera_to_sky
    root_weight = np.ones(2 * x_px.size)
    for _ in range(plan.rounds):
        root_weight = np.repeat(camera.focal_px / sigma_px, 2)
        error, slope = _linearised(camera, rotation, pixels, icrs, terms)
        a, b = slope * root_weight[:, None], error * root_weight
        normal, right = a.T @ a, a.T @ b
        if plan.known_focal_px is not None and plan.scale_sigma is not None:
            normal[3, 3] += plan.scale_sigma**-2
            right[3] += np.log(camera.focal_px / plan.known_focal_px) * plan.scale_sigma**-2
        step = -_solve(normal, right)
        angle = float(np.linalg.norm(step[:3]))
        if angle > 0.0:
            rotation = rotation @ rotation_about(step[:3] / angle, angle)
        camera = replace(
            camera,
            focal_px=float(camera.focal_px * np.exp(np.clip(step[3], -0.3, 0.3))),
            k1=camera.k1 + (float(step[4]) if terms > 4 else 0.0),
            k2=camera.k2 + (float(step[5]) if terms > 5 else 0.0),
        )
        if angle * camera.focal_px < 1e-3 and abs(step[3]) < 1e-7:
            break
    error, _ = _linearised(camera, rotation, pixels, icrs, terms)
    residual = error.reshape(-1, 2) * camera.focal_px
    chi2 = float(np.sum(np.square(residual) / np.square(sigma_px)[:, None]))
    dof = 2 * x_px.size - terms + (plan.scale_sigma is not None)
    return PlateFit(camera, rotation, _solve(normal, np.eye(terms)), residual, chi2, dof)


def _solve(normal: FloatArray, right: FloatArray) -> FloatArray:
    """Solve the normal equations, scaled to unit diagonal, lightly damped: stars in one line leave one turn open."""
    scale = 1.0 / np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled = normal * scale[:, None] * scale
    scaled.flat[:: len(scaled) + 1] += 1e-12
    solved = np.linalg.solve(scaled, right * (scale if right.ndim == 1 else scale[:, None]))
    return np.asarray(solved * (scale if right.ndim == 1 else scale[:, None]))


def _linearised(
    camera: Camera, rotation: FloatArray, pixels: FloatArray, icrs: FloatArray, terms: int
) -> tuple[FloatArray, FloatArray]:
    """Errors (2 M,) in the tangent plane, x and y in turn, and their derivatives (2 M, terms)."""
    u = pixels / camera.focal_px
    r2 = np.sum(u * u, axis=1, keepdims=True)
    w = icrs @ rotation
    z = w[:, 2]
    place = w[:, :2] / z[:, None]
    error = u * (1.0 + r2 * (camera.k1 + camera.k2 * r2)) - place
    slope = np.empty((len(u), 2, terms))
    px, py = place[:, 0], place[:, 1]
    # d place = (d w_xy - place d w_z) / z with d w = w x eps
    slope[:, 0, 0], slope[:, 0, 1], slope[:, 0, 2] = -px * py, 1.0 + px * px, -py
    slope[:, 1, 0], slope[:, 1, 1], slope[:, 1, 2] = -(1.0 + py * py), px * py, px
    slope[:, :, 3] = -u * (1.0 + r2 * (3.0 * camera.k1 + 5.0 * camera.k2 * r2))
    for k in range(4, terms):
        slope[:, :, k] = u * r2 ** (k - 3)
    return error.reshape(-1), slope.reshape(-1, terms)
