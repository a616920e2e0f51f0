"""The axis that N attitudes share: weighted least squares, with a closed form to start from.

Model: a camera on a mount that turns about its RA axis keeps the axis at the same place in the frame. With p the axis
in ENU and b the same axis in camera coordinates, C_i b = p for every frame, whatever the angle of rotation, so that
tracking, periodic error, backlash and cone error drop out. The measured attitude is C_i, the true one C_i Rot(eps_i)
with eps_i ~ N(0, S_i) in camera axes, so

    C_i^T p - b = eps_i x b     (2 numbers a frame, across b; what turns about b is free)

Unknowns: p and b, two each; degrees of freedom 2 N - 4. Marginalising the angle of rotation is exact.
Closed form: p and b are the first singular vectors of sum C_i (they maximise sum p . C_i b).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import unit
from polewright.core.model import FloatArray

_ROUNDS = 6
_CONVERGED_RAD = 1e-11  # 2e-6 arcsec: far below any centroid


@dataclass(frozen=True, eq=False)
class AxisFit:
    """One fit of N frames, K extra unknowns.

    `covariance` (4 + K, 4 + K), rad^2: axis across the ENU basis `enu_basis` (3, 2), axis across the camera basis
    `camera_basis` (3, 2), then `extra` (K,). `residual` (N, 2) is across b, along `camera_basis`.
    `slope` (N, 2, 4 + K): how the unknowns move that residual; `gain` (N, 4 + K, 2): how they follow when it moves.
    """

    axis_enu: FloatArray
    axis_in_camera: FloatArray
    enu_basis: FloatArray
    camera_basis: FloatArray
    covariance: FloatArray
    extra: FloatArray
    residual: FloatArray
    chi2: float
    dof: int
    slope: FloatArray
    gain: FloatArray

    @property
    def axis_covariance_enu(self) -> FloatArray:
        """Covariance (3, 3), rad^2, of the axis in ENU (singular along the axis)."""
        return np.asarray(self.enu_basis @ self.covariance[:2, :2] @ self.enu_basis.T)


def shared_axis(attitudes: FloatArray, pole: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Closed form, unweighted: the axis in ENU, on the side of `pole`, and in camera axes, of attitudes (N, 3, 3)."""
    u, _, vt = np.linalg.svd(np.sum(attitudes, axis=0))
    p, b = u[:, 0], vt[0]
    if float(p @ pole) < 0.0:
        p, b = -p, -b
    return np.asarray(p), np.asarray(b)


def across(v: FloatArray) -> FloatArray:
    """Two orthonormal columns (3, 2) across the unit vector `v` (3,)."""
    x, y, z = v.tolist()  # plain numbers: this runs hundreds of times
    level = math.hypot(x, y)
    if level < 0.1:  # nearly along z: start from x
        level = math.hypot(y, z)
        return np.array([[0.0, -level], [z / level, x * y / level], [-y / level, x * z / level]])
    return np.array([[-y / level, -x * z / level], [x / level, -y * z / level], [0.0, level]])


def cross_matrix(v: FloatArray) -> FloatArray:
    """(3, 3) matrix of the cross product: cross_matrix(v) @ w = v x w."""
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])


def fit_axis(
    attitudes: FloatArray, covariances: FloatArray, pole: FloatArray, extra_slope: FloatArray | None = None
) -> AxisFit:
    """Weighted fit of camera-to-ENU attitudes (N, 3, 3) with covariances (N, 3, 3), rad^2, in camera axes.

    `extra_slope` (N, 3, K): how K further unknowns move C_i^T p - b, in camera axes. numpy.linalg.LinAlgError when
    the frames do not rotate at all.
    """
    p, b = shared_axis(attitudes, pole)
    extra = 0 if extra_slope is None else extra_slope.shape[2]
    to_camera = attitudes.transpose(0, 2, 1)
    for _ in range(_ROUNDS):
        enu_basis, camera_basis = across(p), across(b)
        noise = camera_basis.T @ cross_matrix(b)
        weight = np.linalg.inv(noise @ covariances @ noise.T)
        seen = (to_camera @ p) @ camera_basis
        slope = np.empty((len(attitudes), 2, 4 + extra))
        slope[:, :, :2] = -camera_basis.T @ to_camera @ enu_basis
        slope[:, :, 2:4] = np.eye(2)
        if extra_slope is not None:
            slope[:, :, 4:] = camera_basis.T @ extra_slope
        weighted = slope.transpose(0, 2, 1) @ weight
        covariance = inverse_of_normal((weighted @ slope).sum(axis=0))
        step = covariance @ (weighted @ seen[:, :, None]).sum(axis=0)[:, 0]
        p, b = unit(p + enu_basis @ step[:2]), unit(b + camera_basis @ step[2:4])
        if float(np.max(np.abs(step[:4]))) < _CONVERGED_RAD:
            break
    residual = seen - slope @ step
    chi2 = float(np.einsum("ni,nij,nj->", residual, weight, residual))
    dof = 2 * len(attitudes) - 4 - extra
    gain = covariance @ weighted
    return AxisFit(p, b, enu_basis, camera_basis, covariance, step[4:], residual, chi2, dof, slope, gain)


def inverse_of_normal(normal: FloatArray) -> FloatArray:
    """Inverse of normal equations (K, K), scaled to a unit diagonal first, and symmetric."""
    scale = 1.0 / np.sqrt(np.diag(normal))
    inverse = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return np.asarray(0.5 * (inverse + inverse.T))


def rotation_angles(attitudes: FloatArray, axis: FloatArray) -> FloatArray:
    """Angle (N,), rad, of each attitude about `axis` (3,), ENU, the first being 0; unwrapped from frame to frame."""
    turn = attitudes @ attitudes[0].T
    curl = [turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0], turn[:, 1, 0] - turn[:, 0, 1]]
    cosine = np.trace(turn, axis1=1, axis2=2) - 1.0
    return np.asarray(np.unwrap(np.arctan2(np.stack(curl, axis=-1) @ axis, cosine)))


def chi2_survival(chi2: float, dof: int) -> float:
    """Probability that chi-square with `dof` degrees of freedom exceeds `chi2`; 1.0 for none.

    Q(x, k + 2) = Q(x, k) + (x/2)^(k/2) e^(-x/2) / Gamma(k/2 + 1), from erfc or exp (Abramowitz & Stegun 26.4.4-8).
    """
    if dof <= 0:
        return 1.0
    half = 0.5 * max(chi2, 0.0)
    start, total = (1, math.erfc(math.sqrt(half))) if dof % 2 else (2, math.exp(-half))
    if half > 0.0:
        for k in range(start, dof, 2):
            total += math.exp(0.5 * k * math.log(half) - half - math.lgamma(0.5 * k + 1.0))
    return min(total, 1.0)
