"""Learning a screw from its moves: rate, direction, backlash, change with angle, and how well turns are reported.

The moves become stretches (stretches.py), the stretches a posterior of rate and backlash (posterior.py). A turn
reported as told is as good as the hand, about 20 %, and how good is learned; one read off the head of the screw is
good to 3 % of a turn. The direction goes by votes, each report being the wrong way round with a probability of 5 %.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewPrior, ScrewRate
from polewright.core.screws.posterior import Posterior, posterior
from polewright.core.screws.stretches import HAND_FLOOR_TURNS, Stretches, seen, stretches

# one report in twenty has the direction wrong (chosen; simulated hands make 4 %)
WRONG_WAY_ODDS = math.log(0.95 / 0.05)
# one hand in eight began the wrong way, where only the eye told (chosen; the halting simulated hand: one in ten)
WALKED_ODDS = math.log(0.88 / 0.12)
PRIOR_SIGN_ODDS = math.log(0.98 / 0.02)  # one rig in fifty was changed since its last night (chosen)
FIRST_HUMAN_ERROR, FIRST_HUMAN_WEIGHT = 0.18, 2.0  # 10 to 20 % (common practice, no source), worth two moves
HUMAN_ROUNDS = 3  # of hand error and stretches in turn (chosen)
MISFIT_SIGMA = 3.5  # a stretch this far off counts as one that fits nothing; no decision rests on it


@lru_cache(maxsize=64)
def learn(memory: ScrewMemory) -> ScrewRate | None:
    """What the memory teaches; None while nothing is known (no earlier night, no move that was seen)."""
    prior, moves = memory.prior, memory.moves
    odds = _sign_odds(memory)
    if prior is None and (odds is None or not any(seen(m) and not m.guessed for m in moves)):
        return None
    rejected = prior is not None and _contradicts(moves, prior, memory.bends)
    if rejected:
        prior = None
        odds = _sign_odds(replace(memory, prior=None))
    sign = 1.0 if (odds or 0.0) >= 0.0 else -1.0
    human_error, human_weight = _first_hand(prior)
    for _ in range(HUMAN_ROUNDS):
        found = stretches(moves, sign, human_error)
        known = posterior(found, prior, memory.bends, sign)
        if all(s.read_off for s in found.done):
            break
        human_error, human_weight = _human_error(found, known, prior)
    slack, slack_sure = _slack(found, known.backlash_turns)
    return ScrewRate(
        arcmin_per_turn=known.arcmin_per_turn,
        sigma_arcmin=abs(known.arcmin_per_turn) * known.log_rate_sigma,
        backlash_turns=known.backlash_turns,
        sigma_backlash=known.backlash_sigma,
        change_per_degree=known.change_per_degree,
        sigma_change=known.change_sigma,
        sign_sure=1.0 / (1.0 + math.exp(-abs(odds or 0.0))),
        human_error=human_error,
        human_weight=human_weight,
        slack=slack,
        slack_sure=slack_sure,
        sigma_open=math.sqrt(found.open_variance),
        moves=len(moves),
        wrong_way=found.wrong_way,
        misfits=tuple(s.last for s, pull in zip(found.done, known.pulls, strict=True) if abs(pull) > MISFIT_SIGMA),
        prior_rejected=rejected,
    )


def seen_sign(memory: ScrewMemory) -> float:
    """By what the eye has seen, whether a clockwise turn raises the coordinate (+1) or lowers it; 0 unknown."""
    odds = _sign_odds(memory)
    return 0.0 if not odds else math.copysign(1.0, odds)


def sign_sure(memory: ScrewMemory) -> float:
    """The probability of that direction; 0.5 where nothing is known."""
    return 1.0 / (1.0 + math.exp(-abs(_sign_odds(memory) or 0.0)))


def engaged(memory: ScrewMemory) -> float:
    """Which way (clockwise +1) a turn moves the axis at once, as the latest motion tonight showed; 0 unknown."""
    moved = next((m.moved_arcmin for m in reversed(memory.moves) if seen(m)), 0.0)
    return math.copysign(1.0, moved) * seen_sign(memory) if moved else 0.0


def _sign_odds(memory: ScrewMemory) -> float | None:
    """Log odds that a clockwise turn raises the coordinate; None without any evidence."""
    votes = [math.copysign(_weight(m), m.turns * m.moved_arcmin) for m in memory.moves if seen(m)]
    prior = memory.prior
    if prior is None and not votes and not memory.seen_odds:
        return None
    start = memory.seen_odds if prior is None else math.copysign(PRIOR_SIGN_ODDS, prior.arcmin_per_turn)
    return start + math.fsum(votes)


def _weight(move: ScrewMove) -> float:
    return WALKED_ODDS if move.guessed else WRONG_WAY_ODDS


def sense_for_next_night(memory: ScrewMemory) -> float:
    """Log odds of the direction to take into another night, no surer than a remembered rate."""
    odds = _sign_odds(memory) or 0.0
    return min(max(odds, -PRIOR_SIGN_ODDS), PRIOR_SIGN_ODDS)


def _contradicts(moves: tuple[ScrewMove, ...], prior: ScrewPrior, bends: bool) -> bool:
    """Whether at least two of tonight's moves agree with each other and not with the profile (another mount head)."""
    if sum(seen(m) and not m.guessed for m in moves) < 2:
        return False
    alone = learn(ScrewMemory(None, moves, bends))
    if alone is None or alone.sign_sure < 0.9:
        return False
    apart = abs(alone.arcmin_per_turn - prior.arcmin_per_turn)
    spread = max(alone.sigma_arcmin, 0.1 * abs(alone.arcmin_per_turn))
    return apart > 4.0 * math.hypot(spread, prior.sigma_arcmin)


def _first_hand(prior: ScrewPrior | None) -> tuple[float, float]:
    if prior is None:
        return FIRST_HUMAN_ERROR, FIRST_HUMAN_WEIGHT
    return prior.human_error, prior.human_weight


def _human_error(found: Stretches, known: Posterior, prior: ScrewPrior | None) -> tuple[float, float]:
    """Relative error of turns as told, rms, and the number of moves it rests on."""
    h0, n0 = _first_hand(prior)
    told = np.array([s.sure and not s.read_off for s in found.done], dtype=bool)
    turns = np.array([s.turns for s in found.done], dtype=float)
    other = HAND_FLOOR_TURNS**2 + np.array([s.moved_variance for s in found.done]) / known.arcmin_per_turn**2
    counted = told & (np.abs(turns) > 3.0 * np.sqrt(other))
    if not np.any(counted):
        return h0, n0
    excess = np.maximum(known.off_turns[counted] ** 2 - other[counted], 0.0) / turns[counted] ** 2
    trust = known.trust[counted]
    freedom = max(float(np.sum(trust)) - (1.5 if prior is None else 0.0), 0.0)
    h = math.sqrt((n0 * h0**2 + float(np.sum(trust * excess))) / (n0 + freedom))
    return min(max(h, 0.03), 0.4), n0 + freedom


def _slack(found: Stretches, backlash: float) -> tuple[float, bool]:
    """The share of the backlash that a clockwise turn would lose now, and whether that is known."""
    if not found.direction:
        return 0.5, False
    slack = 0.0 if found.direction > 0.0 else 1.0
    return min(max(slack - found.open_turns / backlash, 0.0), 1.0), True
