"""The pose to follow from: what all frames of a capture say together about the last of them; or, where the axis is
known from the drift of the stars, what that says about one frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import rotation_about, unit
from polewright.core.attitude import rotation_vector
from polewright.core.axis.fit import across, cross_matrix, inverse_of_normal
from polewright.core.axis.following_motion import Pose
from polewright.core.axis.suspects import Verdict
from polewright.core.model import FloatArray, Site, SkyFrame
from polewright.core.sky.places import east_and_up

_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class KnownAxis:
    """The axis against the target pole, rad on the sky, and the covariance (2, 2) of (east, up)."""

    east_rad: float
    up_rad: float
    covariance_rad2: FloatArray


def pose_at_frame(known: KnownAxis, target_enu: FloatArray, site: Site, frame: SkyFrame) -> Pose:
    """The frame's attitude with the known axis in its camera.

    An error e of the attitude moves the axis in camera axes by b x e; in the sky it stays as sure as it is known.
    """
    directions = east_and_up(target_enu, site)
    size = float(np.hypot(known.east_rad, known.up_rad))
    toward = np.array([known.east_rad, known.up_rad]) / size @ directions if size > 0.0 else np.zeros(3)
    axis_enu = unit(np.cos(size) * target_enu + np.sin(size) * toward)
    attitude = frame.attitude_enu.camera_to_sky
    b = attitude.T @ axis_enu
    skew = cross_matrix(b)
    errors = frame.attitude_enu.covariance_rad2
    across_axis = np.stack([attitude.T @ d - (attitude.T @ d @ b) * b for d in directions])
    own = across_axis.T @ np.asarray(known.covariance_rad2) @ across_axis
    covariance = np.block([[errors, errors @ skew.T], [skew @ errors, skew @ errors @ skew.T + own]])
    return Pose(np.asarray(attitude), np.asarray(b), np.asarray(covariance))


def pose_of_capture(verdict: Verdict, last: int) -> Pose:
    """Attitude of frame number `last` and the axis in its camera, from all frames jointly (Gauss-Newton)."""
    b = verdict.fit.axis_in_camera
    attitude = verdict.attitudes[last]
    measured = attitude
    others = np.arange(len(verdict.attitudes)) != last
    to_camera = verdict.attitudes[others].transpose(0, 2, 1)
    for _ in range(_ROUNDS):
        basis = across(b)
        skew = cross_matrix(b)
        cross = basis.T @ skew
        weight = np.linalg.inv(cross @ verdict.covariances[others] @ cross.T)
        view = basis.T @ to_camera @ attitude
        slope = np.concatenate([-view @ skew, view @ basis - np.eye(2)], axis=2)
        residual = view @ b
        prior = np.zeros((5, 5))
        prior[:3, :3] = np.linalg.inv(verdict.covariances[last])
        offset = np.zeros(5)
        offset[:3] = rotation_vector(attitude.T @ measured)
        weighted = slope.transpose(0, 2, 1) @ weight
        covariance = inverse_of_normal((weighted @ slope).sum(axis=0) + prior)
        step = covariance @ (prior @ offset - (weighted @ residual[:, :, None]).sum(axis=0)[:, 0])
        angle = float(np.linalg.norm(step[:3]))
        attitude = attitude @ rotation_about(step[:3] / angle, angle) if angle > 0.0 else attitude
        b = unit(b + basis @ step[3:])
    expand = np.zeros((6, 5))
    expand[:3, :3] = np.eye(3)
    expand[3:, 3:] = basis
    return Pose(np.asarray(attitude), np.asarray(b), np.asarray(expand @ covariance @ expand.T))
