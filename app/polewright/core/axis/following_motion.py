"""What a mount can do between two frames, and what a frame then says: the filter behind core/axis/following.py.

The state is the camera's attitude C, the axis b in camera axes, and the covariance (6, 6) of (e, beta): C_true =
C Rot(e), b_true = b + beta, both in camera axes. The mount axis is C b. Between frames the RA axis turns by nu about
its own axis and the screws turn the whole mount by M:

    C_new = M C Rot(b, nu),   M = Rot(up, -dA) Rot(k, da),   k = horizontal, a quarter turn clockwise of the axis

Nothing is a small angle but the errors: M is taken exactly from where the frame puts the axis, C_frame b, and what is
unknown of a motion enters as process noise around it. The known motion of the RA axis then trades the poor roll of a
frame against its good pointing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, rotation_about, unit
from polewright.core.attitude import rotation_vector
from polewright.core.axis.fit import cross_matrix
from polewright.core.model import FloatArray

UNKNOWN_RAD = 0.2  # sigma of a motion that nothing is known about; the linear part that is left is arcminutes
LEAN_RAD = float(np.radians(2.5))  # a base out of level: the azimuth screw turns about a leaning axis
HINGE_RAD = float(np.radians(0.5))  # the altitude hinge out of square with the RA axis
CREEP_RAD = 0.05 / ARCSEC_PER_RAD  # what a mount at rest moves from frame to frame
ZENITH_AXIS_RAD = float(np.radians(85.0))  # above it the azimuth screw turns about the axis itself
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Pose:
    """Attitude (3, 3) camera to ENU, the axis (3,) in camera axes, covariance (6, 6) of (e, beta), rad^2."""

    attitude: FloatArray
    axis_in_camera: FloatArray
    covariance: FloatArray

    @property
    def axis_enu(self) -> FloatArray:
        """(3,) unit vector of the mount axis."""
        return np.asarray(self.attitude @ self.axis_in_camera)

    @property
    def axis_covariance_enu(self) -> FloatArray:
        """Covariance (3, 3), rad^2, of the mount axis."""
        slope = self.attitude @ np.hstack([-cross_matrix(self.axis_in_camera), np.eye(3)])
        return np.asarray(slope @ self.covariance @ slope.T)


@dataclass(frozen=True)
class Motion:
    """What is supposed to have happened since the last frame.

    `turn_rad` is the RA axis's own turn, right-handed about the axis, good to `turn_sigma_rad`; `screws` whether the
    screws may have turned (`screws_sigma_rad` None: by anything; else the sigma of a small motion).
    """

    turn_rad: float
    turn_sigma_rad: float
    screws: bool
    screws_sigma_rad: float | None = None


@dataclass(frozen=True, eq=False)
class Update:
    """The pose after a frame, under one supposed motion; `chi2` of the innovation, with `dof` left to judge it."""

    motion: Motion
    pose: Pose
    chi2: float
    dof: int


def update(pose: Pose, motion: Motion, attitude: FloatArray, noise: FloatArray) -> Update:
    """The pose after a frame with this attitude (3, 3) and covariance (3, 3), rad^2, in its camera axes."""
    moved_to = attitude @ pose.axis_in_camera if _moves_freely(motion) else pose.axis_enu
    result = _update_at(pose, motion, attitude, noise, moved_to)
    if _moves_freely(motion):  # once more, the screws' turn taken from the better axis
        again = _update_at(pose, motion, attitude, noise, result.pose.axis_enu)
        result = replace(again, chi2=result.chi2)
    return result


def _moves_freely(motion: Motion) -> bool:
    return motion.screws and motion.screws_sigma_rad is None


def _update_at(pose: Pose, motion: Motion, attitude: FloatArray, noise: FloatArray, moved_to: FloatArray) -> Update:
    """One Kalman step about the motion that carries the axis exactly to `moved_to` (3,)."""
    b, nu = pose.axis_in_camera, motion.turn_rad
    screws, bearing, height = screw_motion(pose.axis_enu, moved_to)
    predicted = screws @ pose.attitude @ rotation_about(b, nu)
    carry = np.eye(6)
    carry[:3, :3] = rotation_about(b, -nu)
    carry[:3, 3:] = np.sin(nu) * np.eye(3) - (1.0 - np.cos(nu)) * cross_matrix(b)
    covariance = carry @ pose.covariance @ carry.T
    covariance[:3, :3] += _process_noise(motion, b, predicted, moved_to, bearing, height)
    innovation = rotation_vector(predicted.T @ attitude)
    total = covariance[:3, :3] + noise
    gain = np.linalg.solve(total, covariance[:3, :]).T
    step = gain @ innovation
    keep = np.eye(6)
    keep[:, :3] -= gain
    after = keep @ covariance @ keep.T + gain @ noise @ gain.T
    chi2 = float(innovation @ np.linalg.solve(total, innovation))
    angle = float(np.linalg.norm(step[:3]))
    turned = predicted @ rotation_about(step[:3] / angle, angle) if angle > 0.0 else predicted
    new = Pose(turned, unit(b + step[3:]), 0.5 * (after + after.T))
    dof = 3 - 2 * int(_moves_freely(motion)) - int(motion.turn_sigma_rad >= UNKNOWN_RAD)
    return Update(motion, new, chi2, dof)


def _process_noise(
    motion: Motion, b: FloatArray, predicted: FloatArray, axis: FloatArray, bearing: float, height: float
) -> FloatArray:
    """Covariance (3, 3), rad^2, in camera axes, of the rotation that the supposed motion leaves open."""
    noise = np.outer(b, b) * motion.turn_sigma_rad**2 + np.eye(3) * CREEP_RAD**2
    if not motion.screws:
        return noise
    vertical, hinge = predicted.T @ _UP, predicted.T @ hinge_axis(axis)
    sigma = UNKNOWN_RAD if motion.screws_sigma_rad is None else motion.screws_sigma_rad
    noise += sigma**2 * (np.outer(vertical, vertical) + np.outer(hinge, hinge))
    level = np.eye(3) - np.outer(vertical, vertical)
    noise += (LEAN_RAD * bearing) ** 2 * level + (HINGE_RAD * height) ** 2 * np.eye(3)
    lifted = np.cross(b, hinge)
    noise += (LEAN_RAD * height) ** 2 * np.outer(lifted, lifted)
    if axis[2] > np.sin(ZENITH_AXIS_RAD):
        noise += np.outer(b, b) * UNKNOWN_RAD**2  # the azimuth screw turns about the axis itself
    return np.asarray(noise)


def hinge_axis(axis: FloatArray) -> FloatArray:
    """Horizontal unit vector (3,) about which a right-handed turn raises `axis` (3,), ENU."""
    level = float(np.hypot(axis[0], axis[1]))
    if level < 1e-12:
        return np.array([1.0, 0.0, 0.0])
    return np.array([axis[1], -axis[0], 0.0]) / level


def screw_motion(before: FloatArray, after: FloatArray) -> tuple[FloatArray, float, float]:
    """The turn (3, 3) of the two screws that carries the axis from `before` to `after`, exactly, and its angles:
    azimuth screw, clockwise from above, and altitude screw, up.

    An axis near the zenith moves by the shortest turn: its azimuth means nothing there.
    """
    if max(before[2], after[2]) > np.sin(ZENITH_AXIS_RAD):
        turn = np.cross(before, after)
        sine = float(np.linalg.norm(turn))
        if sine < 1e-15:
            return np.eye(3), 0.0, 0.0
        angle = float(np.arctan2(sine, before @ after))
        return rotation_about(turn / sine, angle), 0.0, angle
    altitude = [float(np.arctan2(v[2], np.hypot(v[0], v[1]))) for v in (before, after)]
    azimuth = [float(np.arctan2(v[0], v[1])) for v in (before, after)]
    height = altitude[1] - altitude[0]
    bearing = float((azimuth[1] - azimuth[0] + np.pi) % (2.0 * np.pi) - np.pi)
    raised = rotation_about(hinge_axis(before), height)
    return np.asarray(rotation_about(_UP, -bearing) @ raised), bearing, height


def twist_rad(turn: FloatArray, axis: FloatArray) -> float:
    """The angle, rad, of the part of a rotation (3, 3) that is about `axis` (3,): 2 atan2(q . axis, q0)."""
    vector = rotation_vector(turn)
    angle = float(np.linalg.norm(vector))
    along = float(vector @ axis) / angle if angle > 0.0 else 0.0
    return float(2.0 * np.arctan2(along * np.sin(0.5 * angle), np.cos(0.5 * angle)))
