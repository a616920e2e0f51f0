"""A row of the night's table, and the limit between the rough and the fine correction."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from polewright.core.night import workflow_actions as do
from polewright.core.night.states import NightState, Stage
from polewright.core.night.workflow_actions import Action

FINE_TOLERANCES, FINE_RAD = 6.0, math.radians(3.0 / 60.0)

Guard = Callable[[NightState], bool]


@dataclass(frozen=True)
class Row:
    """In `stage`, `event` (and `guard`, seen after the action) leads to `to`; `guard_name` labels the diagram."""

    stage: Stage
    event: type
    to: Stage
    action: Action = do.nothing
    guard: Guard | None = None
    guard_name: str = ""
    then: Action = do.nothing  # once the guard has passed


def fine_limit_rad(state: NightState) -> float:
    """Below this total offset the correction is fine."""
    return max(FINE_TOLERANCES * (state.plan.tolerance_rad if state.plan else 0.0), FINE_RAD)


def axis_near(state: NightState) -> bool:
    """The capture says that the axis is near the pole already."""
    axis = state.capture.axis
    return axis is not None and math.hypot(axis.east_rad, axis.up_rad) <= fine_limit_rad(state)
