"""How sure an axis can be: the covariance in closed form, before any frame of it is taken.

With sp the pointing and sr the roll error of a frame, rho the angle between boresight and axis, theta_i the angles of
rotation, SR and ST the scatter matrices of (cos, sin) and (-sin, cos) of theta about their means:

    F = SR / (sp^2 cos^2 rho + sr^2 sin^2 rho) + ST / sp^2

F^-1 is the covariance of the small rotation that carries the true axis to the measured one.

Exact to first order: derived from the fit of core/axis/fit.py, checked against Monte Carlo.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.fit import rotation_angles, shared_axis
from polewright.core.model import FloatArray, SkyFrame

Angles = FloatArray | float
LARGEST_ADVICE_RAD = float(np.radians(120.0))  # one more rotation of the RA axis beyond this meets the tripod
ADVICE_STEP_RAD = float(np.radians(5.0))  # of the advised rotation: no scale on a mount is read finer (chosen)
DEFAULT_GOAL_RAD = 5.0 / ARCSEC_PER_RAD  # chosen: below it refraction and flexure decide
_UP = np.array([0.0, 0.0, 1.0])  # tells the ends of the axis apart; which is which does not matter here


@dataclass(frozen=True)
class FrameNoise:
    """What one frame is good for: pointing (one axis) and roll error, rad, and the angle from boresight to axis."""

    pointing_rad: float
    roll_rad: float
    axis_distance_rad: float


def axis_covariance(rotation_rad: FloatArray, noise: FrameNoise) -> FloatArray:
    """Covariance (2, 2), rad^2, of an axis from frames at angles (N,) about it; inf where nothing is known.

    Components of where the axis lies: along the direction in which the boresight stands at angle 0, and a quarter
    turn further (right-handed about the axis).
    """
    theta = np.asarray(rotation_rad, dtype=float)
    along = np.stack([np.cos(theta), np.sin(theta)], axis=-1)
    beside = np.stack([-np.sin(theta), np.cos(theta)], axis=-1)
    along, beside = along - along.mean(axis=0), beside - beside.mean(axis=0)
    radial = (noise.pointing_rad * np.cos(noise.axis_distance_rad)) ** 2
    radial += (noise.roll_rad * np.sin(noise.axis_distance_rad)) ** 2
    information = along.T @ along / radial + beside.T @ beside / noise.pointing_rad**2
    if float(np.linalg.det(information)) <= 1e-18 * float(np.trace(information)) ** 2:
        return np.full((2, 2), np.inf)
    moves = np.array([[0.0, 1.0], [-1.0, 0.0]])  # a rotation about one direction moves the axis along the other
    return np.asarray(moves @ np.linalg.inv(information) @ moves.T)


def axis_sigma_rad(rotation_rad: FloatArray, noise: FrameNoise) -> float:
    """Total rms error (both components) of an axis from frames at angles (N,), rad; inf where nothing is known."""
    return float(np.sqrt(np.trace(axis_covariance(rotation_rad, noise))))


def frame_noise(frames: Sequence[SkyFrame]) -> FrameNoise:
    """Mean noise of N >= 1 frames; with one frame the axis is taken to be near the celestial pole."""
    covariance = np.mean([frame.attitude_enu.covariance_rad2 for frame in frames], axis=0)
    pointing = float(np.sqrt(0.5 * (covariance[0, 0] + covariance[1, 1])))
    if len(frames) >= 2:
        _, axis = shared_axis(_attitudes(frames), _UP)
        distance = float(np.arctan2(np.hypot(axis[0], axis[1]), axis[2]))
    else:
        distance = float(np.radians(90.0 - abs(frames[0].centre.dec_deg)))
    return FrameNoise(pointing, float(np.sqrt(covariance[2, 2])), distance)


def predicted_sigma_rad(frames: Sequence[SkyFrame], extra_rotation_rad: float) -> float:
    """Total sigma of the axis after one more frame, the RA axis turned on by `extra_rotation_rad` from the last.

    The sense is that of the frames so far; negative turns back. inf where it could not be measured even then.
    """
    if not frames:
        return float("inf")
    theta = _angles(frames)
    onward = 1.0 if theta[-1] >= theta[0] else -1.0
    return axis_sigma_rad(np.append(theta, theta[-1] + onward * extra_rotation_rad), frame_noise(frames))


def recommended_rotation_rad(frames: Sequence[SkyFrame], goal_rad: float = DEFAULT_GOAL_RAD) -> float:
    """The smallest further rotation, in steps of 5 degrees up to 120, that brings the total sigma to `goal_rad`;
    where none does, the smallest within a tenth of the best that can be had."""
    steps = np.arange(ADVICE_STEP_RAD, LARGEST_ADVICE_RAD + 1e-9, ADVICE_STEP_RAD)
    sigma = np.array([predicted_sigma_rad(frames, float(step)) for step in steps])
    good = np.flatnonzero(sigma <= max(goal_rad, 1.1 * float(np.min(sigma))))
    return float(steps[good[0]]) if good.size else LARGEST_ADVICE_RAD


def screw_slopes(bearing_rad: Angles, altitude_rad: Angles, pole_altitude_rad: float) -> FloatArray:
    """How the field moves, first order, (..., 3, 3): rows along azimuth, along altitude, roll (right-handed,
    outward); columns per rad of azimuth screw (clockwise), altitude screw (up), turn of the RA axis (right-handed).

    The camera stands at `altitude_rad` (...), `bearing_rad` (...) from the azimuth of the axis. The first two columns
    are (cos h, 0, -sin h) and (sin h sin B, cos B, cos h sin B).
    """
    h, bearing = np.broadcast_arrays(np.asarray(altitude_rad, dtype=float), np.asarray(bearing_rad, dtype=float))
    sin_h, cos_h, sin_b, cos_b = np.sin(h), np.cos(h), np.sin(bearing), np.cos(bearing)
    sin_p, cos_p = np.sin(pole_altitude_rad), np.cos(pole_altitude_rad)
    azimuth_screw = [cos_h, np.zeros_like(h), -sin_h]
    altitude_screw = [sin_h * sin_b, cos_b, cos_h * sin_b]
    axis = [cos_p * sin_h * cos_b - sin_p * cos_h, -cos_p * sin_b, cos_p * cos_h * cos_b + sin_p * sin_h]
    columns = [np.stack(column, axis=-1) for column in (azimuth_screw, altitude_screw, axis)]
    return np.stack(columns, axis=-1)


def screw_sigmas_rad(
    bearing_rad: Angles,
    altitude_rad: Angles,
    pole_altitude_rad: float,
    noise: FrameNoise,
    turn_sigma_rad: float = 0.0,
) -> FloatArray:
    """Sigmas (..., 2), rad, of (east, up) on the sky when one frame follows the screws from a camera position.

    `turn_sigma_rad` is how well the turn of the RA axis is known meanwhile (0: exactly). The pointing part is
    singular at the zenith and due east or west (cos h cos B = 0); roll then carries it.
    """
    slope = screw_slopes(bearing_rad, altitude_rad, pole_altitude_rad)
    screws, turn = slope[..., :2], slope[..., 2:] * turn_sigma_rad
    measured = np.diag(np.square([noise.pointing_rad, noise.pointing_rad, noise.roll_rad]))
    information = screws.swapaxes(-1, -2) @ np.linalg.solve(measured + turn @ turn.swapaxes(-1, -2), screws)
    variance = np.diagonal(np.linalg.inv(information), axis1=-2, axis2=-1)
    return np.asarray(np.sqrt(variance) * np.array([np.cos(pole_altitude_rad), 1.0]))


def _attitudes(frames: Sequence[SkyFrame]) -> FloatArray:
    return np.stack([frame.attitude_enu.camera_to_sky for frame in frames])


def _angles(frames: Sequence[SkyFrame]) -> FloatArray:
    if len(frames) < 2:
        return np.zeros(len(frames))
    attitudes = _attitudes(frames)
    axis, _ = shared_axis(attitudes, _UP)
    return rotation_angles(attitudes, axis)
