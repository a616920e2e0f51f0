"""Weighted least squares of attitude, scale and radial distortion on matched stars.

The residual of a star is the difference of two places in the tangent plane: its pixel, freed of distortion, and its
catalogue direction in camera axes. Unknowns: rotation vector eps (C_true = C @ Rot(eps)), ln focal length, k1, k2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import rotation_about
from polewright.core.model import Camera, FloatArray

_SMALL_TERMS = 1e-6  # steps of ln focal length and distortion that change nothing


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
    left_out_px: float = 1e-4  # error of the straight line that may stay in the residuals


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
    pixels = np.empty((x_px.size, 2))
    pixels[:, 0] = sign * (x_px - (camera.width_px - 1) / 2.0)
    pixels[:, 1] = y_px - (camera.height_px - 1) / 2.0
    terms = 4 + plan.distortion_terms
    rotation = camera_to_sky
    inverse_sigma = np.repeat(1.0 / sigma_px, 2)
    settled = False
    reach_px = 0.5 * (camera.width_px + camera.height_px)
    for _ in range(plan.rounds):
        error, slope = _linearised(camera, rotation, pixels, icrs, terms)
        weighted = slope * (camera.focal_px * inverse_sigma)[:, None]
        normal = weighted.T @ weighted
        right = weighted.T @ (error * (camera.focal_px * inverse_sigma))
        if plan.known_focal_px is not None and plan.scale_sigma is not None:
            normal[3, 3] += plan.scale_sigma**-2
            right[3] += np.log(camera.focal_px / plan.known_focal_px) * plan.scale_sigma**-2
        covariance = _inverse(normal)
        step = -(covariance @ right)
        x, y, roll, grown = (float(value) for value in step[:4])
        tilt = math.hypot(x, y)
        angle = math.hypot(tilt, roll)
        if angle > 0.0:
            rotation = rotation @ rotation_about(step[:3] / angle, angle)
        error += slope @ step
        camera = replace(
            camera,
            focal_px=camera.focal_px * math.exp(min(max(grown, -0.3), 0.3)),
            k1=camera.k1 + (float(step[4]) if terms > 4 else 0.0),
            k2=camera.k2 + (float(step[5]) if terms > 5 else 0.0),
        )
        # what the straight line leaves out grows with the square of the step, and is nothing for the distortion terms
        spin = abs(roll) + abs(grown)
        if tilt * (tilt + spin) * camera.focal_px + spin * spin * reach_px < plan.left_out_px:
            settled = terms == 4 or float(np.abs(step[3:]).max()) < _SMALL_TERMS
            if settled:
                break
    if not settled:
        error, _ = _linearised(camera, rotation, pixels, icrs, terms)
    residual = error.reshape(-1, 2) * camera.focal_px
    z = residual * inverse_sigma.reshape(-1, 2)
    dof = 2 * x_px.size - terms + (plan.scale_sigma is not None)
    return PlateFit(camera, rotation, covariance, residual, float(np.vdot(z, z)), dof)


def _inverse(normal: FloatArray) -> FloatArray:
    """Inverse of the normal matrix, scaled and lightly damped: stars in one line leave a turn open."""
    scale = 1.0 / np.sqrt(np.maximum(normal.diagonal(), 1e-300))
    both = scale[:, None] * scale
    scaled = normal * both
    scaled.flat[:: len(scaled) + 1] += 1e-12
    return np.asarray(np.linalg.inv(scaled) * both)


def _linearised(
    camera: Camera, rotation: FloatArray, pixels: FloatArray, icrs: FloatArray, terms: int
) -> tuple[FloatArray, FloatArray]:
    """Errors (2 M,) in the tangent plane, x and y in turn, and their derivatives (2 M, terms)."""
    u = pixels / camera.focal_px
    w = icrs @ rotation
    place = w[:, :2] / w[:, 2:]
    slope = np.empty((len(u), 2, terms))
    px, py = place[:, 0], place[:, 1]
    # d place = (d w_xy - place d w_z) / z with d w = w x eps
    slope[:, 0, 1] = 1.0 + px * px
    slope[:, 0, 0] = -px * py
    slope[:, 0, 2] = -py
    slope[:, 1, 0] = -1.0 - py * py
    slope[:, 1, 1] = px * py
    slope[:, 1, 2] = px
    if terms == 4 and not (camera.k1 or camera.k2):
        slope[:, :, 3] = -u
        return (u - place).reshape(-1), slope.reshape(-1, terms)
    r2 = np.sum(u * u, axis=1, keepdims=True)
    slope[:, :, 3] = -u * (1.0 + r2 * (3.0 * camera.k1 + 5.0 * camera.k2 * r2))
    for k in range(4, terms):
        slope[:, :, k] = u * r2 ** (k - 3)
    return (u * (1.0 + r2 * (camera.k1 + camera.k2 * r2)) - place).reshape(-1), slope.reshape(-1, terms)
