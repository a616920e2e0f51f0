"""What the form over a running night has changed, and what that means for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from polewright.core.model import Atmosphere, Utc
from polewright.core.night.events import NOW, RigMended, SkyMended
from polewright.core.night.states import NightPlan
from polewright.core.sky.places import pole_altitude_rad
from polewright.core.sky.weather import air_at
from polewright.services.measuring import Optics
from polewright.ui.driving.rig import Chosen, RigAndSite
from polewright.words import window as words
from polewright.words.said import Said

SAME_AIR_K, SAME_SIGMA = 0.5, 1e-3  # chosen: 0.5 K bends light by 0.2 %


@dataclass(frozen=True)
class AsItWas:
    """What the night has gone by so far."""

    plan: NightPlan
    rig: str
    optics: Optics
    folder: Path


@dataclass(frozen=True)
class Mended:
    """`sky`: site, air or clock, None where they are as they were; `rig` likewise; `told` to the person."""

    sky: SkyMended | None
    rig: RigMended | None
    told: Said


def mended(was: AsItWas, found: RigAndSite, what: Chosen, folder: Path, utc: Utc) -> Mended:
    """Compare the form with the night. Air that was typed before and is not typed again is the usual air of `utc`."""
    sky, rig = _sky(was.plan, found, what, utc), _rig(was, found)
    changed = [
        name
        for name, other in (
            ("the site", sky is not None and sky.site != was.plan.site),
            ("the air", sky is not None and sky.air != was.plan.air),
            ("the clock", sky is not None and sky.clock_ahead_s != was.plan.clock_ahead_s),
            ("the rig", rig is not None),
            ("the optics", what.optics != was.optics),
            ("the folder", folder != was.folder),
        )
        if other
    ]
    return Mended(sky, rig, words.mended(tuple(changed), sky is not None) if changed else words.AS_BEFORE)


def _sky(plan: NightPlan, found: RigAndSite, what: Chosen, utc: Utc) -> SkyMended | None:
    ahead_s = found.clock_ahead_s if what.clock_ahead_s is None else what.clock_ahead_s
    air = air_at(what.site, what.weather, utc)
    air = plan.air if _alike(air, plan.air) else air
    if (what.site, air, ahead_s) == (plan.site, plan.air, plan.clock_ahead_s):
        return None
    altitude_rad = max(0.0, pole_altitude_rad(what.site, air, plan.target))
    return SkyMended(NOW, what.site, altitude_rad, air, ahead_s)


def _alike(a: Atmosphere, b: Atmosphere) -> bool:
    """The usual air changes by a tenth of a degree from one evening to the next: that measures nothing anew."""
    near = abs(a.temperature_c - b.temperature_c) < SAME_AIR_K and a.pressure_hpa == b.pressure_hpa
    return near and abs(a.scale_sigma - b.scale_sigma) < SAME_SIGMA


def _rig(was: AsItWas, found: RigAndSite) -> RigMended | None:
    if found.rig_name == was.rig:
        return None
    return RigMended(NOW, found.rig_name, found.azimuth, found.altitude, found.locks, found.flexure.flexure)
