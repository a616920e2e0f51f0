"""Where the camera sees the screws turn badly, and where it would see them well."""

from __future__ import annotations

import numpy as np

from polewright.core.axis.accuracy import FrameNoise, screw_sigmas_rad
from polewright.core.axis_reasons import CameraPosition, Look, WeakView
from polewright.core.model import FloatArray

WEAK_FACTOR = 5.0  # a position is weak from here on, over a good one: on the meridian, 20 degrees from the pole
GOOD_DISTANCE_RAD = float(np.radians(20.0))
MUCH_BETTER = 0.6  # a position worth turning the RA axis for
LOWEST_ALTITUDE_DEG = 20.0
ZENITH_DEG = 65.0  # above it the azimuth screw only turns the field
ASIDE = 0.6  # cosine of the azimuth from the pole below which both screws move the field along nearly one line


def camera_positions(
    axis_enu: FloatArray, boresight_enu: FloatArray, noise: FrameNoise, turn_sigma_rad: float, turns_rad: FloatArray
) -> list[CameraPosition]:
    """How well the screws are seen after the RA axis is turned by each of `turns_rad` from where it stands now.

    `turn_sigma_rad`: how well the motion of the RA axis is known while the screws turn.
    """
    off = boresight_enu - (boresight_enu @ axis_enu) * axis_enu
    looks = (boresight_enu - off) + np.outer(np.cos(turns_rad), off)
    looks += np.outer(np.sin(turns_rad), np.cross(axis_enu, off))
    azimuth = np.arctan2(looks[:, 0], looks[:, 1])
    altitude = np.arctan2(looks[:, 2], np.hypot(looks[:, 0], looks[:, 1]))
    pole_azimuth, pole_altitude = _azimuth_altitude(axis_enu)
    sigma = screw_sigmas_rad(azimuth - pole_azimuth, altitude, pole_altitude, noise, turn_sigma_rad)
    total = np.hypot(sigma[:, 0], sigma[:, 1])
    numbers = np.stack([turns_rad, np.degrees(azimuth) % 360.0, np.degrees(altitude), total], axis=-1)
    return [CameraPosition(*row) for row in numbers.tolist()]


def best_position(
    axis_enu: FloatArray, boresight_enu: FloatArray, noise: FrameNoise, turn_sigma_rad: float
) -> CameraPosition | None:
    """The nearest position, turning the RA axis alone, within a fifth of the best; None when all are below 20
    degrees."""
    turns = np.radians(np.arange(-110.0, 111.0, 5.0))
    found = camera_positions(axis_enu, boresight_enu, noise, turn_sigma_rad, turns)
    high = [p for p in found if p.altitude_deg >= LOWEST_ALTITUDE_DEG]
    if not high:
        return None
    enough = 1.2 * min(p.sigma_rad for p in high)
    return min((p for p in high if p.sigma_rad <= enough), key=lambda p: abs(p.turn_rad))


def weakness(
    axis_enu: FloatArray, boresight_enu: FloatArray, noise: FrameNoise, turn_sigma_rad: float
) -> WeakView | None:
    """That the camera looks where it can hardly see the screws turn; None where it sees them well."""
    (here,) = camera_positions(axis_enu, boresight_enu, noise, turn_sigma_rad, np.zeros(1))
    _, pole_altitude = _azimuth_altitude(axis_enu)
    good = screw_sigmas_rad(0.0, pole_altitude - GOOD_DISTANCE_RAD, pole_altitude, noise, turn_sigma_rad)
    if here.sigma_rad <= WEAK_FACTOR * float(np.hypot(good[0], good[1])):
        return None
    better = best_position(axis_enu, boresight_enu, noise, turn_sigma_rad)
    worth_it = better is not None and better.sigma_rad <= MUCH_BETTER * here.sigma_rad
    return WeakView(_look(here, axis_enu), here.sigma_rad, better if worth_it else None)


def _look(here: CameraPosition, axis_enu: FloatArray) -> Look:
    pole_azimuth, _ = _azimuth_altitude(axis_enu)
    if here.altitude_deg > ZENITH_DEG:
        return Look.ZENITH
    if abs(np.cos(np.radians(here.azimuth_deg) - pole_azimuth)) < ASIDE:
        return Look.EAST if np.sin(np.radians(here.azimuth_deg)) > 0.0 else Look.WEST
    return Look.ELSEWHERE


def _azimuth_altitude(v: FloatArray) -> tuple[float, float]:
    return float(np.arctan2(v[0], v[1])), float(np.arctan2(v[2], np.hypot(v[0], v[1])))
