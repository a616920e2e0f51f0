"""Where to watch the drift: the fields of both components, and the side of the meridian that is free."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from polewright.core.drift.plan import DriftPosition, best_positions
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reading import Side
from polewright.core.model import Atmosphere, Site
from polewright.core.night.states import NightPlan
from polewright.core.plan.sky_choice import behind


def position_for(plan: NightPlan, side: Side, component: str) -> DriftPosition:
    """The field for a component, on that side of the meridian."""
    azimuth, altitude = _positions(plan.site, plan.air, side)
    return azimuth if component == "azimuth" else altitude


@lru_cache(maxsize=16)
def _positions(site: Site, air: Atmosphere, side: Side) -> tuple[DriftPosition, DriftPosition]:
    return best_positions(site, air, side)


def free_side(plan: NightPlan) -> Side:
    """East, unless something stands in front of its field."""
    return "east" if not _hidden(plan, "east") or _hidden(plan, "west") else "west"


def _hidden(plan: NightPlan, side: Side) -> bool:
    place = position_for(plan, side, "altitude")
    hour_rad, dec_rad = math.radians(15.0 * place.hour_angle_h), math.radians(place.declination_deg)
    x, y, z = star_enu(plan.site, hour_rad, plan.side * dec_rad)
    azimuth = np.array(math.degrees(math.atan2(x, y)) % 360.0)
    altitude = np.array(math.degrees(math.asin(z)))
    return any(bool(behind(obstacle, altitude, azimuth)) for obstacle in plan.obstacles)
