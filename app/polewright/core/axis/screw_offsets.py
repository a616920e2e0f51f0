"""What the two screws have to undo: an axis estimate in screw coordinates."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import AxisEstimate
from polewright.core.offset import covariance_of
from polewright.core.screws.angles import screw_angles
from polewright.core.sky.places import hemisphere_sign


@dataclass(frozen=True)
class ScrewOffsets:
    """The axis against the target pole, as the screws see it, rad, and one sigma of each.

    `azimuth_rad` is counted ALONG THE HORIZON (sky angle / cos altitude), positive when the axis lies too far east in
    either hemisphere; `altitude_rad` is positive when it is too high. Undoing both brings the axis onto the target.
    """

    azimuth_rad: float
    altitude_rad: float
    sigma_azimuth_rad: float
    sigma_altitude_rad: float


def screw_offsets(estimate: AxisEstimate) -> ScrewOffsets:
    """Exact for errors of many degrees (see core/screws/angles.py for the neighbourhood of the zenith)."""
    southern = hemisphere_sign(estimate.site) < 0.0
    altitude = math.atan2(estimate.target_enu[2], math.hypot(estimate.target_enu[0], estimate.target_enu[1]))
    angles = screw_angles(
        estimate.east_rad, estimate.up_rad, covariance_of(estimate.covariance_rad2), altitude, southern
    )
    sign = -1.0 if southern else 1.0  # `bearing` counts clockwise from above: toward the west in the south
    return ScrewOffsets(
        sign * angles.bearing_arcmin / ARCMIN_PER_RAD,
        angles.height_arcmin / ARCMIN_PER_RAD,
        angles.sigma_bearing_arcmin / ARCMIN_PER_RAD,
        angles.sigma_height_arcmin / ARCMIN_PER_RAD,
    )
