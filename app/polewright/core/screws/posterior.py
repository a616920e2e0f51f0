"""What a screw's stretches say of rate, backlash and change with angle: the posterior, summed over the backlash.

The frames measure a motion far better than a person a turn, so the turn is written as a function of the motion:

    turns = u m - w m p + (sign of the turn) x gap + error

with m the motion, u one over the rate, w = u g, p the mean coordinate in degrees, and the gap the whole backlash
after a reversal, nothing without one, and an unknown part of it before the first stretch. For a given backlash and
first gap that is a linear fit of (u, w); both run over a grid, twice, the second time where the first found them. One
report in seventeen is taken to be worth nothing (forgotten, doubled, miscounted): a mixture of a narrow and a wide
normal distribution, which decides for itself how far each stretch is believed.

Decided 2026-11-25. Learning a screw. The frames measure a motion a hundred times better than a person a turn. So
the turn is fitted as a function of the motion; turns that moved nothing are added to the next that did; the
backlash and the slack before the first move run over a grid, and the posterior is summed over them. A report may be
worthless (forgotten, doubled, miscounted), which a mixture decides. The sigmas then hold in the tail, and the
errors reach the Cramer-Rao bound of the turns made (tests/bench/screw_rates.py). Least squares on reported turns,
with backlash as one more unknown and weights against outliers, stated sigmas that were 1.8 times too small in
azimuth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polewright.core.model import FloatArray
from polewright.core.screws.memory import ScrewPrior
from polewright.core.screws.stretches import Stretches

FIRST_BACKLASH_TURNS, FIRST_BACKLASH_FACTOR = 0.1, 2.0  # 36 degrees of the head, within a factor of two (memory)
FIRST_RATE_ARCMIN, FIRST_RATE_SPREAD = 50.0, 0.9  # fine threads on short arms and long ones (memory)
CHANGE_SIGMA = 0.01  # per degree; a tangent arm changes by cos^2, about 0.6 % per degree at 10 degrees
WORTHLESS = 0.06  # of all reports
WORTHLESS_TURNS = 0.05  # and their sigma: as large as the turn itself, and at least
# turns: ends of the grid; 2 degrees of the head nobody feels, 0.8 turn is a loose nut (chosen)
LEAST_BACKLASH, MOST_BACKLASH = 0.005, 0.8
GRIDS = ((24, 6), (32, 12))  # points in backlash and in the first gap
ROUNDS = 5  # of weights and fit in the mixture (chosen)
_erfc = np.frompyfunc(math.erfc, 1, 1)


@dataclass(frozen=True)
class Posterior:
    """Means and sigmas. `log_rate_sigma` is that of the logarithm of the rate. Per stretch: `off_turns`, `pulls`, by
    how much the report is off, in turns and in its sigmas; `trust`, the probability that it is worth something."""

    arcmin_per_turn: float
    log_rate_sigma: float
    backlash_turns: float
    backlash_sigma: float
    change_per_degree: float
    change_sigma: float
    off_turns: FloatArray
    pulls: FloatArray
    trust: FloatArray


@dataclass(frozen=True)
class _Data:
    turns: FloatArray
    variance: FloatArray
    moved: FloatArray
    moved_variance: FloatArray
    at: FloatArray
    direction: FloatArray
    told: FloatArray
    reversed_: FloatArray


@dataclass(frozen=True)
class _Nodes:
    """Per node of the grid: backlash, its share of the posterior, u, w, their variances, and the last look at every
    stretch (nodes, stretches)."""

    backlash: FloatArray
    weight: FloatArray
    u: FloatArray
    w: FloatArray
    u_variance: FloatArray
    w_variance: FloatArray
    residual: FloatArray
    variance: FloatArray
    trust: FloatArray


def posterior(found: Stretches, prior: ScrewPrior | None, bends: bool, sign: float) -> Posterior:
    """What these stretches and the earlier nights say; with neither, what is common among mounts."""
    data = _data(found)
    (coarse, coarse_gaps), (fine, fine_gaps) = GRIDS
    first = _solve(data, found, prior, bends, sign, _first_grid(prior, coarse), coarse_gaps)
    return _summary(_solve(data, found, prior, bends, sign, _finer(first, coarse, fine), fine_gaps), sign)


def _data(found: Stretches) -> _Data:
    rows = [
        (
            s.turns,
            s.variance,
            s.moved_arcmin,
            s.moved_variance,
            s.at_deg,
            s.direction,
            0.0 if s.read_off else 1.0,
            0.0 if i == 0 or s.direction == found.done[i - 1].direction else 1.0,
        )
        for i, s in enumerate(found.done)
    ]
    table = np.array(rows, dtype=float).reshape(-1, 8)
    return _Data(*(table[:, column] for column in range(8)))


def _first_grid(prior: ScrewPrior | None, count: int) -> FloatArray:
    low, high = LEAST_BACKLASH, MOST_BACKLASH
    if prior is not None:
        reach = 4.0 * _prior_backlash_sigma(prior)
        low = min(max(prior.backlash_turns - reach, low), 0.5 * high)
        high = min(max(prior.backlash_turns + reach, 2.0 * low), high)
    return np.geomspace(low, high, count)


def _finer(nodes: _Nodes, coarse: int, fine: int) -> FloatArray:
    """A closer grid where the posterior lies, never narrower than the steps of the coarse one."""
    weight, logs = nodes.weight, np.log(nodes.backlash)
    mean = float(np.sum(weight * logs))
    step = float(np.ptp(logs)) / (coarse - 1)
    reach = max(4.0 * math.sqrt(float(np.sum(weight * (logs - mean) ** 2))), 1.5 * step)
    low, high = max(mean - reach, math.log(LEAST_BACKLASH)), min(mean + reach, math.log(MOST_BACKLASH))
    return np.exp(np.linspace(low, high, fine))


def _solve(
    data: _Data,
    found: Stretches,
    prior: ScrewPrior | None,
    bends: bool,
    sign: float,
    grid: FloatArray,
    gap_count: int,
) -> _Nodes:
    parts = (np.arange(gap_count) + 0.5) / gap_count
    backlash = np.repeat(grid, gap_count)
    gap = backlash[:, None] * data.reversed_
    if data.turns.size:
        gap[:, 0] = backlash * np.tile(parts, len(grid))
    engaged = data.turns - data.direction * gap
    u = _start(data, engaged, prior, sign)
    w = np.zeros_like(u)
    for _ in range(ROUNDS):
        residual = engaged - u[:, None] * data.moved + w[:, None] * data.moved * data.at
        variance = data.variance + data.moved_variance * u[:, None] ** 2
        likelihood, trust, precision = _believed(data, residual, variance)
        information, vector = _normal_equations(data, engaged, trust, precision, u, prior, bends)
        (uu, uw, ww), (bu, bw) = information, vector
        determinant = uu * ww - uw**2
        u_variance, w_variance = ww / determinant, uu / determinant
        w = (uu * bw - uw * bu) / determinant
        u = sign * np.clip(sign * (ww * bu - uw * bw) / determinant, 1e-3, 1.0)
    log_weight = likelihood - 0.5 * np.log(determinant) + _log_prior(u, w, backlash, prior, bends)
    log_weight += np.sum(trust * data.told, axis=1) * np.log(np.abs(u)) + _open_end(found, backlash)
    log_weight += np.log(backlash)  # the grid is even in its logarithm
    weight = np.exp(log_weight - np.max(log_weight))
    weight /= np.sum(weight)
    return _Nodes(backlash, weight, u, w, u_variance, w_variance, residual, variance, trust)


def _start(data: _Data, engaged: FloatArray, prior: ScrewPrior | None, sign: float) -> FloatArray:
    """Weighted median of turns per arcminute: half of the reports may be nonsense."""
    if not data.turns.size:
        rate = FIRST_RATE_ARCMIN if prior is None else abs(prior.arcmin_per_turn)
        return np.full(len(engaged), sign / rate)
    ratio = engaged / data.moved
    weight = np.abs(data.moved) / np.sqrt(data.variance)
    order = np.argsort(ratio, axis=1)
    heaped = np.cumsum(weight[order], axis=1)
    middle = np.argmax(heaped >= 0.5 * heaped[:, -1:], axis=1)
    rows = np.arange(len(engaged))
    return np.asarray(sign * np.clip(sign * ratio[rows, order[rows, middle]], 1.0 / 400.0, 0.3))


def _believed(data: _Data, residual: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log likelihood per node; per stretch the probability that the report is good, and the precision it is given."""
    size = np.maximum(np.abs(data.turns), np.abs(data.turns - residual))
    wide = variance + size**2 + WORTHLESS_TURNS**2
    good = math.log(1.0 - WORTHLESS) - 0.5 * residual**2 / variance - 0.5 * np.log(variance)
    bad = math.log(WORTHLESS) - 0.5 * residual**2 / wide - 0.5 * np.log(wide)
    both = np.logaddexp(good, bad)
    trust = np.exp(good - both)
    return np.sum(both, axis=1), trust, trust / variance + (1.0 - trust) / wide


def _normal_equations(
    data: _Data,
    engaged: FloatArray,
    trust: FloatArray,
    precision: FloatArray,
    u: FloatArray,
    prior: ScrewPrior | None,
    bends: bool,
) -> tuple[tuple[FloatArray, FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Information (uu, uw, ww) and vector (u, w) per node.

    A turn as told is exact and the hand errs: then the density is one of motions, hence a factor u for each.
    """
    moved, bent = data.moved, -data.moved * data.at
    told = np.sum(trust * data.told, axis=1)
    mean_u, sigma_u, mean_g, sigma_g = _prior_numbers(u, prior, bends)
    u_precision, w_precision = 1.0 / sigma_u**2, 1.0 / (sigma_g * u) ** 2
    uu = np.sum(precision * moved**2, axis=1) + told / u**2 + u_precision
    uw = np.sum(precision * moved * bent, axis=1)
    ww = np.sum(precision * bent**2, axis=1) + w_precision
    bu = np.sum(precision * moved * engaged, axis=1) + 2.0 * told / u + mean_u * u_precision
    bw = np.sum(precision * bent * engaged, axis=1) + mean_g * u * w_precision
    return (uu, uw, ww), (bu, bw)


def _prior_numbers(
    u: FloatArray, prior: ScrewPrior | None, bends: bool
) -> tuple[FloatArray, FloatArray, float, float]:
    """Mean and sigma of u (per node) and of the change g before tonight."""
    change_sigma = CHANGE_SIGMA if bends else 1e-5
    if prior is None:
        sigma = FIRST_RATE_SPREAD * np.abs(u)
        return u - u * (np.log(np.abs(u)) + math.log(FIRST_RATE_ARCMIN)), sigma, 0.0, change_sigma
    rate = abs(prior.arcmin_per_turn)
    mean = np.sign(u) / rate
    sigma = np.full_like(u, prior.sigma_arcmin / rate**2)
    return mean, sigma, prior.change_per_degree, max(min(prior.sigma_change, change_sigma), 1e-5)


def _log_prior(
    u: FloatArray, w: FloatArray, backlash: FloatArray, prior: ScrewPrior | None, bends: bool
) -> FloatArray:
    mean_u, sigma_u, mean_g, sigma_g = _prior_numbers(u, prior, bends)
    result = -0.5 * ((u - mean_u) / sigma_u) ** 2 - np.log(sigma_u)
    result += -0.5 * ((w / u - mean_g) / sigma_g) ** 2 - np.log(sigma_g * np.abs(u))
    if prior is None:
        spread = math.log(FIRST_BACKLASH_FACTOR)
        return np.asarray(result - 0.5 * (np.log(backlash / FIRST_BACKLASH_TURNS) / spread) ** 2 - np.log(backlash))
    sigma = _prior_backlash_sigma(prior)
    return np.asarray(result - 0.5 * ((backlash - prior.backlash_turns) / sigma) ** 2)


def _prior_backlash_sigma(prior: ScrewPrior) -> float:
    return max(prior.sigma_backlash, 0.005)


def _open_end(found: Stretches, backlash: FloatArray) -> FloatArray:
    """A reversal that has moved nothing yet: the backlash is larger than that."""
    if not found.done or found.open_turns * found.done[-1].direction >= 0.0:
        return np.zeros_like(backlash)
    left = (backlash - abs(found.open_turns)) / math.sqrt(2.0 * found.open_variance)
    crossed = 0.5 * np.asarray(_erfc(-left), dtype=float)
    return np.asarray(np.log(WORTHLESS + (1.0 - WORTHLESS) * crossed))


def _summary(nodes: _Nodes, sign: float) -> Posterior:
    weight = nodes.weight
    logs = np.log(np.abs(nodes.u))
    mean = float(np.sum(weight * logs))
    log_variance = np.sum(weight * ((logs - mean) ** 2 + nodes.u_variance / nodes.u**2))
    backlash = math.exp(float(np.sum(weight * np.log(nodes.backlash))))
    changes = nodes.w / nodes.u
    change = float(np.sum(weight * changes))
    change_variance = np.sum(weight * ((changes - change) ** 2 + nodes.w_variance / nodes.u**2))
    off = weight @ nodes.residual
    return Posterior(
        arcmin_per_turn=sign * math.exp(-mean),
        log_rate_sigma=math.sqrt(float(log_variance)),
        backlash_turns=backlash,
        backlash_sigma=math.sqrt(float(np.sum(weight * (nodes.backlash - backlash) ** 2))),
        change_per_degree=change,
        change_sigma=math.sqrt(float(change_variance)),
        off_turns=off,
        pulls=off / np.sqrt(weight @ nodes.variance),
        trust=weight @ nodes.trust,
    )
