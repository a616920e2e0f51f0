"""The night begins."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

from polewright.core.night.effects import Effect
from polewright.core.night.events import NightStarted
from polewright.core.night.states import Locks, NightPlan, Running, Seen, Waiting
from polewright.core.plan.tonight import ToleranceOrigin
from polewright.core.sky.places import standard_atmosphere


def begin_night(state: Waiting, event: NightStarted) -> tuple[Running, tuple[Effect, ...]]:
    """Takes site, target, tolerance, the rig's screws and what its locks usually do; what was seen so far stays."""
    plan = _plan_of(event)
    locks = Locks(aim_rad=event.locks.aim_rad(plan.pole_altitude_rad, plan.southern), memory=event.locks)
    altitude = replace(event.altitude, bends=True)
    seen: dict[str, Any] = {f.name: getattr(state, f.name) for f in fields(Seen)}
    return Running(**seen, plan=plan, azimuth=event.azimuth, altitude=altitude, locks=locks), ()


def _plan_of(event: NightStarted) -> NightPlan:
    """Records that do not say what air they mean were made with the standard atmosphere of the site."""
    return NightPlan(
        event.site,
        event.target,
        event.pole_altitude_rad,
        event.tolerance_rad,
        event.obstacles,
        ToleranceOrigin.USUAL if event.imaging is None else ToleranceOrigin.PLAN,
        event.imaging,
        air=standard_atmosphere(event.site) if event.air is None else event.air,
        walking=event.walking,
        told=event.told,
        flexure=event.flexure,
        clock_ahead_s=event.clock_ahead_s,
        at_rest=event.at_rest,
    )
