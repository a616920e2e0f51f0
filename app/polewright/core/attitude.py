"""The rotation that best carries camera vectors onto sky vectors, with its covariance.

Source: Wahba, SIAM Review 7(3), 409 (1965); SVD solution: Markley, J. Astronaut. Sci. 36, 245 (1988);
covariance: Shuster & Oh, J. Guidance Control 4, 70 (1981).
"""

from __future__ import annotations

import numpy as np

from polewright.core.model import Attitude, FloatArray


def fit_attitude(v_camera: FloatArray, v_sky: FloatArray, sigma_rad: FloatArray) -> Attitude:
    """Least-squares proper rotation C with v_sky ~ C @ v_camera.

    `v_camera`, `v_sky` (N, 3) unit vectors, N >= 2; `sigma_rad` (N,) standard deviation along one axis on the sky.
    The covariance is that of the small rotation vector eps in camera axes, C_true = C @ Rot(eps).
    """
    weight = 1.0 / np.square(sigma_rad)
    b = (v_sky * weight[:, None]).T @ v_camera
    u, _, vt = np.linalg.svd(b)
    flip = np.linalg.det(u) * np.linalg.det(vt)
    rotation = u @ np.diag([1.0, 1.0, np.sign(flip)]) @ vt
    # Fisher information of eps: sum w (I - v v^T), v in camera axes
    info = np.sum(weight) * np.eye(3) - (v_camera * weight[:, None]).T @ v_camera
    return Attitude(np.asarray(rotation), np.asarray(np.linalg.inv(info)))


def rotation_vector(rotation: FloatArray) -> FloatArray:
    """Rotation vector (3,), rad, of a proper rotation matrix (3, 3); the angle is within 0..pi.

    Through the unit quaternion, so that small angles and angles near pi keep their digits.
    """
    m = rotation
    k = np.array(
        [
            [m[0, 0] - m[1, 1] - m[2, 2], m[1, 0] + m[0, 1], m[2, 0] + m[0, 2], m[2, 1] - m[1, 2]],
            [m[1, 0] + m[0, 1], m[1, 1] - m[0, 0] - m[2, 2], m[2, 1] + m[1, 2], m[0, 2] - m[2, 0]],
            [m[2, 0] + m[0, 2], m[2, 1] + m[1, 2], m[2, 2] - m[0, 0] - m[1, 1], m[1, 0] - m[0, 1]],
            [m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1], m[0, 0] + m[1, 1] + m[2, 2]],
        ]
    )
    q = np.linalg.eigh(k)[1][:, -1]  # (x, y, z, w), Bar-Itzhack 2000
    q = q if q[3] >= 0.0 else -q
    s = float(np.linalg.norm(q[:3]))
    angle = 2.0 * np.arctan2(s, q[3])
    return np.asarray(q[:3] / s * angle if s > 0.0 else np.zeros(3))
