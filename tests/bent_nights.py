"""Nights of rehearsal whose mount pulls and wobbles as it is told, begun with what is known of its bending."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

from polewright.core.flexure import Flexure
from polewright.core.model import Site, TargetPole
from polewright.core.night.events import NightStarted
from polewright.practice import rehearsal
from polewright.runtime.starting import night_started
from polewright.simulate import rig
from polewright.simulate.night import Night, draw_night
from polewright.simulate.scenarios import Scenario

ARCSEC = math.pi / 648000.0


def bent(scenario: Scenario, seed: int, pull: float | None, wobble: float | None) -> Night:
    """The night of this seed with another mount: `pull` in arcsec a radian, `wobble` in arcsec, None as drawn."""
    night = draw_night(scenario, seed)
    real = night.mount.real
    real = real if pull is None else replace(real, pull_arcsec_rad=pull)
    real = real if wobble is None else replace(real, wobble_arcsec=wobble)
    return replace(night, mount=replace(night.mount, real=real))


@contextmanager
def rehearsed_on(draw: Callable[[Scenario, int], Night], known: Callable[[Site], Flexure | None]) -> Iterator[None]:
    """Rehearsals draw their nights so, and begin with what is known of the bending at their site."""

    def started(site: Site, target: TargetPole, tolerance_rad: float, walking: bool = False) -> NightStarted:
        return night_started(site, target, tolerance_rad, walking=walking, flexure=known(site))

    with patch.object(rehearsal, "night_started", started), patch.object(rig, "draw_night", draw):
        yield
