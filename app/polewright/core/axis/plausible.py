"""Whether a solved frame can have been taken at this site and time at all: the field above the horizon, at night.

A wrong longitude, clock or hemisphere leaves no other trace in a frame: it turns the whole sky, the axis with it.

Decided 2026-11-25. What no frame can show is asked elsewhere. A wrong longitude or clock turns the whole sky about
the pole, the axis with it, and leaves no residual. Frames below the horizon or by daylight are refused; frame times
are held against the computer's clock and the files' own times; both screws moving the axis aslant by one angle show
the turn; every answer states what a minute makes. tests/bench/lying_data.py runs every way in which a capture can
lie and writes the guide's table. Widening every uncertainty by a supposed clock error was rejected: it would say
nothing to nobody on most nights.
"""

from __future__ import annotations

import math

from polewright.core.model import Site, SkyFrame
from polewright.core.sky.sun import sun_altitude_rad
from polewright.core.unsolved import BelowHorizon, Daylight, ImpossibleSky

LOWEST_FIELD_DEG = -1.0
HIGHEST_SUN_DEG = 0.0  # no guide camera shows a field of stars beside the Sun


def impossible_sky(frame: SkyFrame, site: Site) -> ImpossibleSky | None:
    """Why this frame cannot come from this site and time; None when it can."""
    field_deg = math.degrees(math.asin(max(-1.0, min(1.0, float(frame.attitude_enu.camera_to_sky[2, 2])))))
    if field_deg < LOWEST_FIELD_DEG:
        return BelowHorizon(frame.name, abs(field_deg))
    sun_deg = math.degrees(sun_altitude_rad(frame.utc_mid, site))
    return Daylight(frame.name, sun_deg) if sun_deg > HIGHEST_SUN_DEG else None
