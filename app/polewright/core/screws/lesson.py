"""A lesson on one screw: a few turns made to learn what it is worth and how much slack it has, if somebody asks.

Whole turns tell the rate, because they are counted; reversals just beyond the slack tell the slack, because a short
turn is read off more exactly than a long one. The alignment of a night alone is often too short for either: with less
than a turn to go, or always the same way, no estimator can tell them (tests/bench/screw_rates.py).

Decided 2026-11-25. A lesson, if somebody asks. An alignment of less than a turn, or always the same way, does not
tell rate or backlash however it is evaluated. An eye that errs by 3 % of the last turn and 3 degrees needs, 19
times in 20, more than 1 1/4 turns engaged for 5 % of the rate; for a fifth of a backlash of 0.1 turn two reversals
of a quarter turn, of 0.02 turn twenty of an eighth. One key asks for those turns (core/screws/lesson.py); they end
when the posterior is narrow enough, after eight at most. Rates are then within 5 % in 97 to 100 % of the nights,
backlashes within 20 % in 97 % (azimuth) and 92 to 94 % (altitude), or within five degrees of the head in 99 %.
Making them part of every night was rejected: twelve goes more. A whole turn as the trial was rejected as well: it
taught the short nights, and cost every night half a go.
"""

from __future__ import annotations

import math

from polewright.core.screws.memory import ScrewMemory, ScrewRate

RATE_KNOWN = 0.022  # one sigma: then 95 % of the rates are within 5 % with a little to spare
SLACK_KNOWN = 0.09  # one sigma of the backlash, as a share of it: 95 % within 20 %
MOST_TURNS = 8  # then it is enough: the next turns teach little
WHOLE_TURNS = 2.0  # together, if that moves the axis no further than FAR
FAR_ARCMIN = 120.0  # chosen: a lesson does not take the axis further away than this
# turns that are easily read off a head; the smallest that crosses the slack is taken
BACK_AND_FORTH = (0.125, 0.25, 0.5, 1.0)
BEYOND = 1.25  # how much longer than the slack may be: a hand errs by a fifth
AWAY_ARCMIN = 200.0  # no lesson leads further away from the pole than this


def lesson_over(memory: ScrewMemory, rate: ScrewRate | None, made: int) -> bool:
    """Whether the lesson has taught what it can, after so many turns of it."""
    if made >= MOST_TURNS:
        return True
    if rate is None or not memory.moves:
        return False
    return rate.relative_sigma <= RATE_KNOWN and rate.sigma_backlash <= SLACK_KNOWN * rate.backlash_turns


def lesson_turns(memory: ScrewMemory, rate: ScrewRate, made: int, coordinate_arcmin: float) -> float:
    """The next turn of the lesson, clockwise positive. `coordinate_arcmin`: of the axis against the aim."""
    way = _way(memory, rate)
    unknown = rate.relative_sigma > RATE_KNOWN
    if made == 0 and unknown:
        turns = WHOLE_TURNS if WHOLE_TURNS * abs(rate.arcmin_per_turn) <= FAR_ARCMIN else 1.0
        home = -math.copysign(1.0, coordinate_arcmin * rate.arcmin_per_turn)
        after = abs(coordinate_arcmin + way * turns * rate.arcmin_per_turn)
        return turns * (home if after > max(AWAY_ARCMIN, abs(coordinate_arcmin)) else way)
    if 0.0 < rate.slack < 1.0:  # the slack is not crossed yet: on the same way
        return way * _beyond(rate)
    return -way * (1.0 if unknown and made % 4 == 3 else _beyond(rate))


def _way(memory: ScrewMemory, rate: ScrewRate) -> float:
    """Which way the screw was turned last: as its slack shows, or as it was told."""
    if rate.slack_sure and rate.slack in (0.0, 1.0):
        return 1.0 if rate.slack == 0.0 else -1.0
    return math.copysign(1.0, memory.moves[-1].turns) if memory.moves else 1.0


def _beyond(rate: ScrewRate) -> float:
    """The shortest turn that surely crosses the slack."""
    needed = BEYOND * (rate.backlash_turns + 2.0 * rate.sigma_backlash)
    return next((size for size in BACK_AND_FORTH if size >= needed), BACK_AND_FORTH[-1])
