"""The two screws; the axis offset on the sky, and the same as the two screws see it.

The azimuth screw turns the mount about the vertical: its angle is counted along the horizon, `bearing`, positive
CLOCKWISE seen from above, so that one mount keeps its sign in both hemispheres. The altitude screw raises the axis:
`height`, positive up. Exact for errors of several degrees; to first order the
horizon angle is the sky angle / cos(altitude of the pole).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.offset import Covariance, Pair

LARGEST_POLE_ALTITUDE_RAD = math.radians(88.0)  # above it the azimuth screw turns about the pole itself


class Screw(Enum):
    """The two adjusting screws."""

    AZIMUTH = "azimuth"
    ALTITUDE = "altitude"


@dataclass(frozen=True)
class ScrewAngles:
    """The axis against the target pole in screw coordinates, arcmin, and one sigma of each."""

    bearing_arcmin: float
    height_arcmin: float
    sigma_bearing_arcmin: float = 0.0
    sigma_height_arcmin: float = 0.0


def screw_angles(
    east_rad: float, up_rad: float, covariance_rad2: Covariance, pole_altitude_rad: float, southern: bool
) -> ScrewAngles:
    """Exact screw coordinates of an axis that is (east, up) off the pole along great circles.

    `pole_altitude_rad` is that of the target pole, 0 to pi/2. Within 2 degrees of the zenith the bearing is computed
    as for 88 degrees: there the azimuth screw hardly moves the axis, and the coach says so.
    """
    altitude = min(abs(pole_altitude_rad), LARGEST_POLE_ALTITUDE_RAD)
    size = math.hypot(east_rad, up_rad)
    along, across = (up_rad / size, east_rad / size) if size else (0.0, 0.0)
    # toward the pole's azimuth, toward the zenith, toward the east; the pole lies at (cos, sin, 0)
    forward = math.cos(size) * math.cos(altitude) - math.sin(size) * along * math.sin(altitude)
    zenith = math.cos(size) * math.sin(altitude) + math.sin(size) * along * math.cos(altitude)
    east = math.sin(size) * across
    bearing = math.atan2(east, forward) * (-1.0 if southern else 1.0)
    height = math.atan2(zenith, math.hypot(forward, east)) - altitude
    (ee, _), (_, uu) = covariance_rad2
    return ScrewAngles(
        bearing * ARCMIN_PER_RAD,
        height * ARCMIN_PER_RAD,
        math.sqrt(max(ee, 0.0)) / math.cos(altitude) * ARCMIN_PER_RAD,
        math.sqrt(max(uu, 0.0)) * ARCMIN_PER_RAD,
    )


def offset_from_angles(angles: ScrewAngles, pole_altitude_rad: float, southern: bool) -> Pair:
    """(east, up), rad on the sky, of screw coordinates: the inverse of `screw_angles`."""
    altitude = min(abs(pole_altitude_rad), LARGEST_POLE_ALTITUDE_RAD)
    bearing = angles.bearing_arcmin / ARCMIN_PER_RAD * (-1.0 if southern else 1.0)
    height = altitude + angles.height_arcmin / ARCMIN_PER_RAD
    forward, east, zenith = (
        math.cos(height) * math.cos(bearing),
        math.cos(height) * math.sin(bearing),
        math.sin(height),
    )
    toward = math.cos(altitude) * forward + math.sin(altitude) * zenith
    up = -math.sin(altitude) * forward + math.cos(altitude) * zenith
    length = math.hypot(east, up)
    if length == 0.0:
        return 0.0, 0.0
    size = math.atan2(length, toward)
    return east / length * size, up / length * size


def azimuth_screw_acts(pole_altitude_rad: float) -> bool:
    """Whether turning about the vertical moves the axis at all: not when the pole stands overhead."""
    return abs(pole_altitude_rad) < LARGEST_POLE_ALTITUDE_RAD
