"""How far to turn a screw next, in turns that hands can do.

Far away the plan aims short, by what the rate and the hand leave uncertain, so that the next turn goes on in the same
direction and no backlash is crossed. Altitude is finished by lifting against gravity: an axis that is too high is
lowered a little past the pole first. Below an eighth turn the unit is the minute on a clock face, then a touch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from polewright.core.screws.memory import ScrewRate

TRIAL_TURNS = 0.5
EIGHTH, CLOCK_MINUTE, HALF_MINUTE, TOUCH = 1.0 / 8.0, 1.0 / 60.0, 1.0 / 120.0, 1.0 / 240.0
LONGEST_TURNS = 6.0  # no single instruction asks for more: look again before going on
FEEL = 0.3  # of what was turned without effect so far
SHY = 1.0  # how many sigmas of the turn the plan stays short


class TurnKind(Enum):
    """What a planned turn is for."""

    TRIAL = "trial"  # learn what this screw does
    RECHECK = "recheck"  # the direction is in doubt
    APPROACH = "approach"  # a part of the way, on purpose
    FINISH = "finish"  # the rest
    TOUCH = "touch"  # as little as a hand can do
    NONE = "none"  # nothing left that a hand could do


@dataclass(frozen=True)
class TurnPlan:
    """One turn: `turns` clockwise positive; the coordinate expected after it and its sigma, arcmin."""

    kind: TurnKind
    turns: float
    expected_arcmin: float
    sigma_arcmin: float


def plan_turn(
    rate: ScrewRate | None,
    coordinate_arcmin: float,
    close_enough_arcmin: float,
    lift_last: bool = False,
    tried_turns: float = 0.0,
) -> TurnPlan:
    """The next turn that brings `coordinate_arcmin` (signed, against the aim) toward zero.

    `close_enough_arcmin`: what counts as there. `lift_last`: finish with the coordinate growing. `tried_turns`:
    turned so far without any effect that could be seen; the next turn grows with it.
    """
    if rate is None:
        turns = math.copysign(min(2.0, TRIAL_TURNS + abs(tried_turns)), tried_turns or 1.0)
        return TurnPlan(TurnKind.TRIAL, turns, coordinate_arcmin, math.inf)
    wanted = -coordinate_arcmin
    if rate.sign_sure < 0.9:
        turns = math.copysign(
            min(TRIAL_TURNS, max(EIGHTH, abs(wanted / rate.arcmin_per_turn))), wanted / rate.at(0.0)
        )
        return TurnPlan(TurnKind.RECHECK, turns, coordinate_arcmin + turns * rate.arcmin_per_turn, math.inf)
    if abs(wanted) <= close_enough_arcmin:
        return TurnPlan(TurnKind.NONE, 0.0, coordinate_arcmin, 0.0)
    return _toward(rate, coordinate_arcmin, close_enough_arcmin, lift_last, tried_turns)


def _toward(
    rate: ScrewRate, coordinate_arcmin: float, close_enough_arcmin: float, lift_last: bool, tried_turns: float
) -> TurnPlan:
    wanted = -coordinate_arcmin
    spread = math.hypot(min(rate.relative_sigma, 0.5), rate.human_error)
    per_turn = rate.at(coordinate_arcmin / 2.0)
    direction = math.copysign(1.0, wanted / per_turn)
    lost = rate.lost_turns(direction)
    if tried_turns * direction > 0.0:  # more backlash than was thought: feel for its end in growing steps
        lost = max(lost, FEEL * abs(tried_turns))
    lowering = lift_last and wanted < 0.0 and abs(wanted) > 3.0 * close_enough_arcmin
    if lowering:
        reach = abs(wanted) * (1.0 + SHY * spread) + close_enough_arcmin
    elif abs(wanted) * spread <= 0.7 * close_enough_arcmin:
        reach = abs(wanted)
    else:
        reach = abs(wanted) * max(0.5, 1.0 - SHY * spread)
    exact = reach / abs(per_turn) + lost
    size = doable_turns(exact, careful=reach < abs(wanted))
    if size > LONGEST_TURNS:
        size = LONGEST_TURNS
    moved = max(size - lost, 0.0) * abs(per_turn)
    kind = TurnKind.TOUCH if size < HALF_MINUTE else TurnKind.APPROACH if moved < abs(wanted) else TurnKind.FINISH
    return TurnPlan(
        kind,
        direction * size,
        coordinate_arcmin + math.copysign(moved, wanted),
        math.hypot(moved * spread, rate.sigma_backlash * abs(per_turn) * (0.0 if lost == 0.0 else 1.0)),
    )


def doable_turns(turns: float, careful: bool = False) -> float:
    """The nearest size that hands can do: eighths, below that minutes on a clock face, then a touch.

    `careful` rounds down, so that a plan that stays short on purpose does not run past its aim.
    """
    size = abs(turns)
    for step, smallest in ((EIGHTH, EIGHTH), (CLOCK_MINUTE, 2.0 * CLOCK_MINUTE), (HALF_MINUTE, HALF_MINUTE)):
        if size >= smallest:
            count = size / step
            return max(1, math.floor(count + 0.1) if careful else round(count)) * step
    return TOUCH
