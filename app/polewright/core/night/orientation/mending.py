"""What was stated at the beginning is mended in the middle of a night: the site, the frames' clock, or the rig.

A frame is placed in the sky over the site at its time, so with another site or clock everything that was measured
from frames is measured anew. What belongs to the mount stays: its screws, its locks, the plan and the tolerance.
Turns that tonight's frames saw stay as well, unless the sky has turned by so much that they were taken for others.
"""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.angles import SIDEREAL_RATE_RAD_S, wrap_pi
from polewright.core.model import Site
from polewright.core.night.actions import Outcome, drop_capture
from polewright.core.night.drift_watch import anew
from polewright.core.night.events import RigMended, SkyMended
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.core.screws.memory import ScrewMemory

# chosen: 3 degrees mix 5 % of one screw's move into the other's and change neither by more than 0.14 %
SAME_SKY_RAD = math.radians(3.0)


def mend_sky(state: Running, event: SkyMended) -> Outcome:
    """Another site or clock: nothing that frames have shown holds any more, but for the turns they were made by."""
    turned = sky_turned_rad(state.plan, event.site, event.clock_ahead_s + event.stepped_s) > SAME_SKY_RAD
    dropped, _ = drop_capture(state, event)
    # who cannot turn the RA axis, and said so, need not say it again because a clock was set
    watching = event.stepped_s != 0.0 and state.stage is Stage.CAPTURE and state.drift is not None
    plan = replace(
        state.plan,
        site=event.site,
        pole_altitude_rad=event.pole_altitude_rad,
        air=event.air,
        clock_ahead_s=event.clock_ahead_s,
    )
    locks = replace(dropped.locks, aim_rad=state.locks.memory.aim_rad(plan.pole_altitude_rad, plan.southern))
    return (
        replace(
            dropped,
            plan=plan,
            azimuth=_before_tonight(state.azimuth) if turned else state.azimuth,
            altitude=_before_tonight(state.altitude) if turned else state.altitude,
            locks=replace(locks, shift_rad=None) if turned else dropped.locks,
            drift=anew(state.drift) if watching else None,
            trail=(),
            last_frame=None,
            trouble=None,
        ),
        (),
    )


def mend_rig(state: Running, event: RigMended) -> Outcome:
    """Another rig's memory: what tonight has taught of the screws is true of the mount that stands here."""
    locks = replace(state.locks, memory=replace(event.locks, tonight=state.locks.memory.tonight))
    if state.locks.shift_rad is None:
        aim_rad = event.locks.aim_rad(state.plan.pole_altitude_rad, state.plan.southern)
        locks = replace(locks, aim_rad=aim_rad)
    return (
        replace(
            state,
            azimuth=replace(event.azimuth, moves=state.azimuth.moves),
            altitude=replace(event.altitude, moves=state.altitude.moves, bends=True),
            locks=locks,
            plan=replace(state.plan, flexure=event.flexure),
        ),
        (),
    )


def sky_turned_rad(plan: NightPlan, site: Site, clock_ahead_s: float) -> float:
    """By how much the sky stands otherwise under the other site and clock, rad, >= 0."""
    east = wrap_pi(math.radians(site.lon_deg - plan.site.lon_deg))
    later = -SIDEREAL_RATE_RAD_S * (clock_ahead_s - plan.clock_ahead_s)
    north = math.radians(site.lat_deg - plan.site.lat_deg)
    return math.hypot(float(wrap_pi(east + later)), north)


def _before_tonight(memory: ScrewMemory) -> ScrewMemory:
    return replace(memory, moves=())
