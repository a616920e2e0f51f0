"""What to say while the screws turn: where the camera sees them badly, and where it would see them well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis.accuracy import FrameNoise, screw_sigmas_rad
from polewright.core.model import FloatArray
from polewright.words.numbers import number_text

WEAK_FACTOR = 5.0  # a position is weak from here on, over a good one: on the meridian, 20 degrees from the pole
GOOD_DISTANCE_RAD = float(np.radians(20.0))
MUCH_BETTER = 0.6  # a position worth turning the RA axis for
LOWEST_ALTITUDE_DEG = 20.0


@dataclass(frozen=True)
class CameraPosition:
    """A position the camera can reach by turning the RA axis alone, right-handed by `turn_rad` about the axis.

    `sigma_rad` is the total sigma of (east, up) that one frame gives there while the screws turn.
    """

    turn_rad: float
    azimuth_deg: float
    altitude_deg: float
    sigma_rad: float


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


def weakness(axis_enu: FloatArray, boresight_enu: FloatArray, noise: FrameNoise, turn_sigma_rad: float) -> str | None:
    """A sentence when the camera looks where it can hardly see the screws turn; None where it sees them well."""
    (here,) = camera_positions(axis_enu, boresight_enu, noise, turn_sigma_rad, np.zeros(1))
    _, pole_altitude = _azimuth_altitude(axis_enu)
    good = screw_sigmas_rad(0.0, pole_altitude - GOOD_DISTANCE_RAD, pole_altitude, noise, turn_sigma_rad)
    if here.sigma_rad <= WEAK_FACTOR * float(np.hypot(good[0], good[1])):
        return None
    where = f"The camera looks {_where(here, axis_enu)}: about {_arcsec(here)} uncertain a frame."
    better = best_position(axis_enu, boresight_enu, noise, turn_sigma_rad)
    if better is None or better.sigma_rad > MUCH_BETTER * here.sigma_rad:
        return f"{where} Take the capture again with the camera near the pole, or within 45 degrees of the meridian."
    return (
        f"{where} Turn the RA axis by"
        f" {abs(np.degrees(better.turn_rad)):.0f} degrees, declination untouched, to azimuth"
        f" {better.azimuth_deg:.0f}, altitude {better.altitude_deg:.0f}: there it would be about {_arcsec(better)}."
    )


def _where(here: CameraPosition, axis_enu: FloatArray) -> str:
    pole_azimuth, _ = _azimuth_altitude(axis_enu)
    if here.altitude_deg > 65.0:
        return "near the zenith, where the azimuth screw only turns the field"
    if abs(np.cos(np.radians(here.azimuth_deg) - pole_azimuth)) < 0.6:
        side = "east" if np.sin(np.radians(here.azimuth_deg)) > 0.0 else "west"
        return f"far to the {side}, where both screws move the field along nearly one line"
    return "where it sees the screws badly"


def _azimuth_altitude(v: FloatArray) -> tuple[float, float]:
    return float(np.arctan2(v[0], v[1])), float(np.arctan2(v[2], np.hypot(v[0], v[1])))


def _arcsec(position: CameraPosition) -> str:
    return f'{number_text(max(position.sigma_rad * ARCSEC_PER_RAD, 0.1))}"'
