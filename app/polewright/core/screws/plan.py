"""How far to turn a screw next, in turns that hands can do.

The plan aims short, by what the rate, the backlash and the hand leave uncertain, so that the next turn goes on in the
same direction: a reversal near the aim costs more than one more turn. Altitude is finished by lifting against
gravity: an axis that is too high is lowered a little past the pole first.

Decided 2026-11-25. How far the slack is crossed. What was turned within the slack is known only as well as it was
read off. Its sigma counts in the next turn as that of the backlash does: 5.4 goes instead of 5.6 on paper, 12 at
most instead of 18. Without it a well-known backlash made the coach bold, and one night in a hundred went to and
fro.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from polewright.core.screws.doable import EIGHTH, SMALLEST_TURNS, doable_turns
from polewright.core.screws.memory import ScrewRate

TRIAL_TURNS = 0.5  # a whole turn taught the short nights more, and cost every night half a go
LONGEST_TURNS = 10.0  # no single instruction asks for more: look again before going on
FEEL = 0.3  # of what was turned without effect so far
SHY = 1.3  # how many sigmas of the turn the plan stays short: fewest goes over 300 paper nights, turns hardly more
PAST = 0.7  # how many sigmas lowering goes past the aim
LOWER_PAST = 8.0  # times what counts as there: less than that is lowered without going past
NEAR = 0.6  # of what counts as there: a turn less uncertain than this goes for all of it


SIGN_KNOWN = 0.9  # a direction this probable is acted on


class TurnKind(Enum):
    """What a planned turn is for."""

    TRIAL = "trial"  # learn what this screw does
    RECHECK = "recheck"  # the direction is in doubt
    APPROACH = "approach"  # a part of the way, on purpose
    FINISH = "finish"  # the rest
    LESSON = "lesson"  # to learn the screw, not to come nearer
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
    if rate.sign_sure < SIGN_KNOWN:
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
    exact = abs(wanted / per_turn) + lost
    slack_sigma = math.hypot(rate.sigma_backlash, rate.sigma_open) if lost else 0.0
    unsure = math.hypot(spread * exact, slack_sigma)  # turns
    if lift_last and wanted < 0.0 and abs(wanted) > LOWER_PAST * close_enough_arcmin:
        exact += PAST * unsure + close_enough_arcmin / abs(per_turn)
    elif unsure * abs(per_turn) > NEAR * close_enough_arcmin:
        exact = max(0.5 * exact, exact - SHY * unsure)
    size = min(doable_turns(exact), LONGEST_TURNS)
    moved = max(size - lost, 0.0) * abs(per_turn)
    kind = TurnKind.TOUCH if size < SMALLEST_TURNS else TurnKind.APPROACH if moved < abs(wanted) else TurnKind.FINISH
    sigma = math.hypot(size * spread, slack_sigma) * abs(per_turn)
    return TurnPlan(kind, direction * size, coordinate_arcmin + math.copysign(moved, wanted), sigma)
