"""Learning a screw from its moves: rate, direction, backlash, change with angle, and how well turns are reported.

Model of move i: moved = k n (1 + e) + g n p - q r sign(n), with n the reported turns, e the error of the report, p
the mean coordinate in degrees, q = k x backlash, r the share of the backlash that this move had to cross. A turn
reported as told is as good as the hand, about 20 %; one read off the head of the screw is good to 3 %. Weighted least
squares, residuals beyond two sigma losing weight with their square, prior values as pseudo-measurements; the
direction by votes, each report being the wrong way round with a probability of 5 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from polewright.core.model import FloatArray
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewPrior, ScrewRate

WRONG_WAY_ODDS = math.log(0.95 / 0.05)
PRIOR_SIGN_ODDS = math.log(0.98 / 0.02)
FIRST_BACKLASH_TURNS, FIRST_BACKLASH_SIGMA = 0.12, 0.12
FIRST_HUMAN_ERROR, FIRST_HUMAN_WEIGHT = 0.18, 2.0  # 10 to 20 % (common practice, no source), worth two moves
READ_OFF_SHARE, READ_OFF_TURNS = 0.03, 0.01  # of the turn, and at least: a paint dot against a clock face
HAND_FLOOR_TURNS = 0.003  # nobody stops a screw better than about one degree
CHANGE_SIGMA = 0.01  # per degree; a tangent arm changes by cos^2, about 0.6 % per degree at 10 degrees
UNSURE_ERROR = 0.25
SEEN_SIGMA = 5.0  # a rate is taken from a move only if |e2 - e1| is more than this many of its sigmas
MISFIT_SIGMA = 3.5
LEAST_SHARE = 0.5  # of the rate that the seen moves show: the fit takes a turn to be worth no less than this
FULL_WEIGHT_SIGMA = 2.0
SHRUNK = 0.93  # of the variance of normal residuals survives these weights (4e6 draws)


@dataclass(frozen=True)
class _Fit:
    k: float
    q: float
    g: float
    covariance: FloatArray
    human_error: float
    human_weight: float
    scaled: FloatArray  # residual / sigma per move


@lru_cache(maxsize=64)
def learn(memory: ScrewMemory) -> ScrewRate | None:
    """What the memory teaches; None while nothing is known (no earlier night, no move that was seen)."""
    prior = memory.prior
    moves, index = _joined(memory.moves)
    odds = _sign_odds(moves, prior)
    if prior is None and (odds is None or not any(_seen(m) for m in moves)):
        return None
    rejected = prior is not None and _contradicts(moves, prior, memory.bends)
    if rejected:
        prior = None
        odds = _sign_odds(moves, None)
    sign = 1.0 if (odds or 0.0) >= 0.0 else -1.0
    wrong = tuple(i for i, m in enumerate(moves) if _seen(m) and m.turns * m.moved_arcmin * sign < 0.0)
    turns = np.array([-m.turns if i in wrong else m.turns for i, m in enumerate(moves)], dtype=float)
    fit, shares = _solve(moves, turns, prior, memory.bends, sign)
    rate = _rate(fit, odds or 0.0, rejected, shares[1])
    return replace(
        rate,
        moves=len(memory.moves),
        wrong_way=tuple(index[i] for i in wrong),
        misfits=tuple(index[i] for i in range(len(moves)) if abs(fit.scaled[i]) > MISFIT_SIGMA),
    )


def _joined(moves: tuple[ScrewMove, ...]) -> tuple[tuple[ScrewMove, ...], tuple[int, ...]]:
    """Turns that moved nothing, joined to the next one the same way: together they crossed the backlash.

    Returns the joined moves and the index of the last original move in each.
    """
    joined: list[ScrewMove] = []
    index: list[int] = []
    for i, move in enumerate(moves):
        if joined and not _seen(joined[-1]) and joined[-1].turns * move.turns > 0.0:
            first = joined.pop()
            index.pop()
            move = replace(
                move,
                turns=first.turns + move.turns,
                before_arcmin=first.before_arcmin,
                sure=first.sure and move.sure,
                read_off=first.read_off and move.read_off,
            )
        joined.append(move)
        index.append(i)
    return tuple(joined), tuple(index)


def _sign_odds(moves: Sequence[ScrewMove], prior: ScrewPrior | None) -> float | None:
    """Log odds that a clockwise turn raises the coordinate; None without any evidence."""
    votes = [math.copysign(1.0, m.turns * m.moved_arcmin) for m in moves if _seen(m)]
    if prior is None and not votes:
        return None
    start = 0.0 if prior is None else math.copysign(PRIOR_SIGN_ODDS, prior.arcmin_per_turn)
    return start + WRONG_WAY_ODDS * sum(votes)


def _seen(move: ScrewMove) -> bool:
    return abs(move.moved_arcmin) > SEEN_SIGMA * move.sigma_arcmin and move.turns != 0.0


def _contradicts(moves: tuple[ScrewMove, ...], prior: ScrewPrior, bends: bool) -> bool:
    """Whether at least two of tonight's moves agree with each other and not with the profile (another mount head)."""
    if sum(_seen(m) for m in moves) < 2:
        return False
    alone = learn(ScrewMemory(None, moves, bends))
    if alone is None or alone.sign_sure < 0.9:
        return False
    apart = abs(alone.arcmin_per_turn - prior.arcmin_per_turn)
    spread = max(alone.sigma_arcmin, 0.1 * abs(alone.arcmin_per_turn))
    return apart > 4.0 * math.hypot(spread, prior.sigma_arcmin)


def _solve(
    moves: tuple[ScrewMove, ...], turns: FloatArray, prior: ScrewPrior | None, bends: bool, sign: float
) -> tuple[_Fit, tuple[FloatArray, tuple[float, bool]]]:
    """Iterates weights, backlash shares and human error, from a median start."""
    moved = np.array([m.moved_arcmin for m in moves], dtype=float)
    seen = np.array([_seen(m) for m in moves], dtype=bool)
    if prior is not None:
        k, backlash, h = prior.arcmin_per_turn, prior.backlash_turns, prior.human_error
        k = math.copysign(k, sign)
    else:
        k = float(np.median(np.abs(moved[seen] / turns[seen]))) * sign
        backlash, h = FIRST_BACKLASH_TURNS, FIRST_HUMAN_ERROR
    q, g, least = k * backlash, 0.0, LEAST_SHARE * abs(k)
    fit: _Fit | None = None
    weight = np.ones(len(moves))
    for _ in range(12):
        shares = _backlash_shares(turns, q / k)
        fit = _step(moves, turns, moved, shares[0], math.copysign(max(abs(k), least), sign), h, weight, prior, bends)
        k, q, g, h = fit.k, fit.q, fit.g, fit.human_error
        if k * sign <= 0.0:  # backlash or a wild report swallowed the rate: hold on to the direction
            k = sign * max(abs(k), 1.0)
        q = math.copysign(min(max(q * sign, 0.0), abs(k)), sign)
        weight = 1.0 / np.maximum(1.0, (fit.scaled / FULL_WEIGHT_SIGMA) ** 2)
    assert fit is not None
    return _Fit(k, q, g, fit.covariance, h, fit.human_weight, fit.scaled), _backlash_shares(turns, q / k)


def _step(
    moves: tuple[ScrewMove, ...],
    turns: FloatArray,
    moved: FloatArray,
    shares: FloatArray,
    k: float,
    h: float,
    weight: FloatArray,
    prior: ScrewPrior | None,
    bends: bool,
) -> _Fit:
    angle = np.array([(m.before_arcmin + m.after_arcmin) / 120.0 for m in moves], dtype=float)
    design = np.stack([turns, -shares[:, 0] * np.sign(turns), turns * angle], axis=1).reshape(-1, 3)
    measured = np.array([m.sigma_arcmin for m in moves], dtype=float) ** 2
    hand = np.array([_hand(m, h) for m in moves], dtype=float)
    other = (k * HAND_FLOOR_TURNS) ** 2 + measured + (k * FIRST_BACKLASH_TURNS * shares[:, 1]) ** 2
    variance = (k * turns * hand) ** 2 + other
    information, vector = _prior_terms(prior, k, bends)
    weighted = design * (weight / variance)[:, None]
    information = information + weighted.T @ design
    vector = vector + weighted.T @ moved
    covariance = np.linalg.inv(information)
    k_new, q_new, g_new = (float(v) for v in covariance @ vector)
    residual = moved - design @ np.array([k_new, q_new, g_new])
    scaled = residual / np.sqrt(variance)
    told = np.array([not m.read_off for m in moves], dtype=bool)
    h_new, h_weight = _human_error(residual, turns * k_new * told, other, weight, prior)
    return _Fit(k_new, q_new, g_new, covariance, h_new, h_weight, scaled)


def _hand(move: ScrewMove, human_error: float) -> float:
    """Relative sigma of a reported turn. One that moved nothing may have been lost in backlash, or gone the wrong way
    within it: it says next to nothing about the rate."""
    if not _seen(move):
        return 1.0
    if move.read_off:
        return math.hypot(READ_OFF_SHARE, READ_OFF_TURNS / abs(move.turns))
    return human_error if move.sure else math.hypot(human_error, UNSURE_ERROR)


def _prior_terms(prior: ScrewPrior | None, k: float, bends: bool) -> tuple[FloatArray, FloatArray]:
    """Information (3, 3) and vector (3,) of (k, q, g) before tonight."""
    change_sigma = CHANGE_SIGMA if bends else 1e-5
    if prior is None:
        mean = np.array([0.0, k * FIRST_BACKLASH_TURNS, 0.0])
        sigma = np.array([1e4, abs(k) * FIRST_BACKLASH_SIGMA, abs(k) * change_sigma])
    else:
        rate = math.copysign(prior.arcmin_per_turn, k)
        mean = rate * np.array([1.0, prior.backlash_turns, prior.change_per_degree])
        sigma = np.array(
            [
                prior.sigma_arcmin,
                abs(rate) * max(prior.sigma_backlash, 0.005),
                abs(rate) * max(min(prior.sigma_change, change_sigma), 1e-5),
            ]
        )
    information = np.diag(1.0 / sigma**2)
    return information, information @ mean


def _human_error(
    residual: FloatArray, expected: FloatArray, other: FloatArray, weight: FloatArray, prior: ScrewPrior | None
) -> tuple[float, float]:
    """Relative error of turns as told, rms, and the number of moves it rests on."""
    h0, n0 = (FIRST_HUMAN_ERROR, FIRST_HUMAN_WEIGHT) if prior is None else (prior.human_error, prior.human_weight)
    counted = np.abs(expected) > 3.0 * np.sqrt(other)
    if not np.any(counted):
        return h0, n0
    excess = np.maximum(residual[counted] ** 2 - other[counted], 0.0) / expected[counted] ** 2
    w = weight[counted]
    freedom = max(float(np.sum(w)) - (1.5 if prior is None else 0.0), 0.0)
    h = math.sqrt((n0 * h0**2 + float(np.sum(w * excess)) / SHRUNK) / (n0 + freedom))
    return min(max(h, 0.03), 0.4), n0 + freedom


def _backlash_shares(turns: FloatArray, backlash: float) -> tuple[FloatArray, tuple[float, bool]]:
    """Per move: share of the backlash crossed and its sigma; then the slack left, and whether it is known."""
    shares = np.zeros((len(turns), 2))
    slack, unsure = 0.5, 0.3
    backlash = float(backlash)
    for i, n in enumerate(turns):
        ahead = slack if n > 0.0 else 1.0 - slack
        crossed = min(ahead, abs(float(n)) / backlash) if backlash > 1e-9 else ahead
        shares[i] = crossed, unsure if n else 0.0
        slack += -crossed if n > 0.0 else crossed
        if abs(n) > backlash:
            unsure = 0.0
    return shares, (slack, unsure == 0.0)


def _rate(fit: _Fit, odds: float, rejected: bool, slack: tuple[float, bool]) -> ScrewRate:
    k, backlash = fit.k, fit.q / fit.k
    var = fit.covariance
    sigma_backlash = math.sqrt(max(var[1, 1] + backlash**2 * var[0, 0] - 2.0 * backlash * var[0, 1], 0.0)) / abs(k)
    return ScrewRate(
        arcmin_per_turn=k,
        sigma_arcmin=math.sqrt(var[0, 0]),
        backlash_turns=backlash,
        sigma_backlash=sigma_backlash,
        change_per_degree=fit.g / k,
        sigma_change=math.sqrt(var[2, 2]) / abs(k),
        sign_sure=1.0 / (1.0 + math.exp(-abs(odds))),
        human_error=fit.human_error,
        human_weight=fit.human_weight,
        slack=slack[0],
        slack_sure=slack[1],
        prior_rejected=rejected,
    )


def rate_from_two_readings(before_arcmin: float, after_arcmin: float, turns: float) -> float:
    """Signed arcminutes per turn from signed readings before and after; magnitudes add up across zero."""
    return (after_arcmin - before_arcmin) / turns
