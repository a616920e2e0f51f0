"""Whether a solved frame can have been taken at this site and time at all: the field above the horizon, at night.

A wrong longitude, clock or hemisphere leaves no other trace in a frame: it turns the whole sky, the axis with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.model import Site, SkyFrame, Unsolved
from polewright.core.sky.sun import sun_altitude_rad

LOWEST_FIELD_DEG = -1.0
HIGHEST_SUN_DEG = 0.0  # no guide camera shows a field of stars beside the Sun
CURE = (
    "Check the site (latitude south and longitude west are negative), the camera program's clock, its time zone and"
    " summer time."
)


@dataclass(frozen=True)
class WrongSky(Unsolved):
    """Solved, but not from this site at this time: site or clock is wrong, and every other frame is in doubt too."""


def impossible_sky(frame: SkyFrame, site: Site) -> WrongSky | None:
    """Why this frame cannot come from this site and time; None when it can."""
    field_deg = math.degrees(math.asin(max(-1.0, min(1.0, float(frame.attitude_enu.camera_to_sky[2, 2])))))
    if field_deg < LOWEST_FIELD_DEG:
        reason = f"By this site and time {frame.name} shows sky {abs(field_deg):.0f} degrees below the horizon."
        return WrongSky(reason, CURE, frame.stars_matched)
    sun_deg = math.degrees(sun_altitude_rad(frame.utc_mid, site))
    if sun_deg > HIGHEST_SUN_DEG:
        reason = f"By this site and time the Sun stands {sun_deg:.0f} degrees high, but {frame.name} shows stars."
        return WrongSky(reason, CURE, frame.stars_matched)
    return None
