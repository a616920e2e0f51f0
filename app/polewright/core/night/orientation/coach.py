"""The coach before the first frame: how to stand the mount up."""

from __future__ import annotations

import math

from polewright.core.night.advice import NotUpYet
from polewright.core.night.states import Running


def advise_standing(state: Running) -> NotUpYet:
    """By the pole that the axis is driven to."""
    return NotUpYet(math.degrees(state.plan.pole_altitude_rad), state.plan.southern)
