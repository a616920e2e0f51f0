"""Beginning a night: site, target and tolerance as the first event."""

from __future__ import annotations

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.night.events import NEW_SCREW, NOW, NightStarted
from polewright.core.plan.tonight import Planned
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.core.sky.places import pole_altitude_rad, standard_atmosphere

USUAL_TOLERANCE_RAD = 0.5 / ARCMIN_PER_RAD  # until the person says what tonight needs


def night_started(
    site: Site,
    target: TargetPole,
    tolerance_rad: float = USUAL_TOLERANCE_RAD,
    azimuth: ScrewMemory = NEW_SCREW,
    altitude: ScrewMemory = NEW_SCREW,
    rig: str = "",
    imaging: Planned | None = None,
    locks: LockMemory = NEW_LOCKS,
    walking: bool = False,
    flexure: Flexure | None = FLEXURE_PRIOR,
    air: Atmosphere | None = None,
    told: bool = False,
    clock_ahead_s: float = 0.0,
) -> NightStarted:
    """The first event; a plan sets the tolerance in place of `tolerance_rad`; `walking`: the eye leads the hand.

    `flexure`: how the rig's camera gives; None: errors are those of the stars alone. `air`: None for the usual one.
    `told`: the person prefers turns told in numbers all the same.
    """
    if imaging is not None:
        tolerance_rad = imaging.tolerance_rad(target)
    height = max(0.0, pole_altitude_rad(site, air or standard_atmosphere(site), target))
    return NightStarted(
        NOW,
        site,
        target,
        height,
        tolerance_rad,
        azimuth=azimuth,
        altitude=altitude,
        rig=rig,
        imaging=imaging,
        locks=locks,
        walking=walking,
        told=told,
        flexure=flexure,
        air=air,
        clock_ahead_s=clock_ahead_s,
        at_rest=True,
    )
