"""How to stand the mount up: heading, inclination, and whether clock and scale can be believed.

The magnetic declination comes in as a value (services/magnetic.py); nothing here looks anything up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.sky.places import pole_altitude_rad

NO_AIR = Atmosphere(0.0)
COMPASS_SIGMA_DEG = 2.0  # a hand compass beside iron: 2 to 5 degrees (common practice, no source)
SCALE_TOLERANCE = 0.05  # a reducer or a binning changes it by far more, focus by less than one per cent


@dataclass(frozen=True)
class Heading:
    """Where the upper end of the axis is to point, degrees; 0 north, through east.

    `magnetic_deg` is the compass reading, None where a compass is of no use or nothing is known. `sigma_deg` covers
    compass and magnetic model. `inclination_deg` is that of the target pole, `refraction_arcmin` of it due to air.
    """

    true_deg: float
    magnetic_deg: float | None
    sigma_deg: float
    inclination_deg: float
    refraction_arcmin: float


def heading(
    site: Site,
    atmosphere: Atmosphere,
    target: TargetPole,
    magnetic_declination_deg: float | None = None,
    magnetic_sigma_deg: float = 0.5,
) -> Heading:
    """How to stand the mount up at `site`; declination + where magnetic north lies east of true north."""
    southern = site.lat_deg < 0.0
    true_deg = 180.0 if southern else 0.0
    altitude = pole_altitude_rad(site, atmosphere, target)
    bare = pole_altitude_rad(site, NO_AIR, TargetPole.TRUE)
    magnetic = None if magnetic_declination_deg is None else (true_deg - magnetic_declination_deg) % 360.0
    return Heading(
        true_deg,
        magnetic,
        math.hypot(COMPASS_SIGMA_DEG, magnetic_sigma_deg),
        math.degrees(altitude),
        (altitude - bare) * ARCMIN_PER_RAD,
    )


# the scale


def scale_agrees(solved_arcsec_px: float, stated_arcsec_px: float) -> bool:
    """Whether the plate scale that the stars give is the stated one."""
    return abs(solved_arcsec_px / stated_arcsec_px - 1.0) <= SCALE_TOLERANCE
