"""Many small rotations at once: a frame wants a dozen attitudes, and a call of numpy costs more than its sums."""

from __future__ import annotations

import numpy as np

from polewright.core.model import FloatArray

_CROSS = np.cross(np.eye(3)[:, None], np.eye(3)[None]).transpose(0, 2, 1).reshape(3, 9)  # v @ it is the matrix of v x


def rotations_about(axis: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Right-handed rotation matrices (S, 3, 3) by the angles (S,) about a unit vector (3,) or one each (S, 3)."""
    cross = (axis @ _CROSS).reshape(*axis.shape, 3)  # cross @ v is axis x v
    sine, rest = np.sin(angle_rad)[:, None, None], 2.0 * np.sin(0.5 * angle_rad)[:, None, None] ** 2
    return np.asarray(np.eye(3) + sine * cross + rest * (cross @ cross))


def rotations(vectors_rad: FloatArray) -> FloatArray:
    """Rotation matrices (S, 3, 3) of rotation vectors (S, 3); a vector of no length turns nothing."""
    angle = np.sqrt(np.einsum("sk,sk->s", vectors_rad, vectors_rad))
    return rotations_about(vectors_rad / np.where(angle > 0.0, angle, 1.0)[:, None], angle)
