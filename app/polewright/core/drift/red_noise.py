"""How much less sure a drift is because the pointing wanders slowly: white scatter and red noise told apart.

The scatter of the frames is modelled as white noise and an Ornstein-Uhlenbeck process beside it; sizes and memory are
not estimated but averaged over, weighted by the restricted likelihood of the residuals (Patterson & Thompson,
Biometrika 58, 545 (1971)). What comes out is the variance of a straight line's slope over that by white noise, or
that of a step beside it.

Decided 2026-11-29. The correlation of neighbours is not enough. Under white scatter a slow wander correlates
neighbours by a few per cent and still doubles or trebles the sigma of a slope (tests/bench/drift_coverage.py).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray

MOST_BLOCKS = 60  # of a field: bounds the work, and is finer than the shortest memory matters (chosen)
RATIOS = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0)  # variance of the wander over that of one frame's white noise (chosen)
MEMORIES_S = (8.0, 20.0, 50.0, 120.0)  # slow leaning, air and play of gears (chosen)


Block = tuple[FloatArray, FloatArray, FloatArray, FloatArray]  # design (B, p), means, frames (B,), times


def slope_growth(fields: Sequence[tuple[FloatArray, FloatArray]]) -> float:
    """Factor, at least 1, on the variance of the slopes of `fields`: times (N,) in s and residuals (N,) of each; all
    share one noise."""
    long_enough = [(at_s, left) for at_s, left in fields if at_s.size >= 5]
    if not long_enough:
        return 1.0
    usual = np.mean([_white(at_s, left) for at_s, left in long_enough])
    return max(_variance([_blocks(at_s, left) for at_s, left in long_enough]) / float(usual), 1.0)


def step_sigma_rad(at_s: FloatArray, left_rad: FloatArray, cut: int) -> float:
    """Sigma of a step before frame `cut` fitted beside a line; `left_rad` (N,): what line and step leave."""
    return float(np.sqrt(_variance([_blocks(at_s, left_rad, np.arange(at_s.size) >= cut)])))


def _variance(blocks: Sequence[Block]) -> float:
    """Of the last unknown of each field, in the mean, as the usual fit takes it; averaged over the wanders."""
    weights, variances = [], []
    dof = sum(design.shape[0] - design.shape[1] for design, *_ in blocks)
    for ratio in RATIOS:
        for memory_s in MEMORIES_S if ratio else MEMORIES_S[:1]:
            told = [_one(block, ratio, memory_s) for block in blocks]
            variance = sum(left for _, left, _ in told) / dof
            weights.append(-0.5 * (sum(log_det for log_det, _, _ in told) + dof * np.log(max(variance, 1e-300))))
            variances.append(variance * float(np.mean([last for _, _, last in told])))
    share = np.exp(np.array(weights) - max(weights))
    share[0] *= len(MEMORIES_S)  # no wander at all counts as much as any size of it
    return float(share @ np.array(variances) / share.sum())


def _white(at_s: FloatArray, left: FloatArray) -> float:
    """Variance of the slope as white noise of the size of the scatter gives it."""
    since = at_s - at_s.mean()
    bare = left - np.polyval(np.polyfit(since, left, 1), since)
    return float(np.sum(np.square(bare)) / (at_s.size - 2) / np.sum(np.square(since)))


def _blocks(at_s: FloatArray, left: FloatArray, *before: NDArray[np.bool_]) -> Block:
    """What the blocks of a field see: a level, a slope, and a step where one is told; their means, numbers of frames
    and times."""
    parts = np.array_split(np.arange(at_s.size), min(at_s.size, MOST_BLOCKS))
    times, means, *steps = (np.array([values[part].mean() for part in parts]) for values in (at_s, left, *before))
    counts = np.array([float(part.size) for part in parts])
    since = times - np.average(times, weights=counts)
    return np.stack([np.ones_like(since), since, *steps], axis=1), means, counts, times


def _one(block: Block, ratio: float, memory_s: float) -> tuple[float, float, float]:
    """(log determinants, weighted squares left, variance of the last unknown), all for a white variance of 1."""
    design, means, counts, times = block
    covariance = np.diag(1.0 / counts) + ratio * np.exp(-np.abs(times[:, None] - times[None, :]) / memory_s)
    lower = np.linalg.cholesky(covariance)
    white_design, white_left = np.linalg.solve(lower, design), np.linalg.solve(lower, means)
    normal = white_design.T @ white_design
    bare = white_left - white_design @ np.linalg.solve(normal, white_design.T @ white_left)
    log_det = 2.0 * float(np.sum(np.log(np.diag(lower)))) + float(np.log(np.linalg.det(normal)))
    plain = np.linalg.solve(design.T @ (counts[:, None] * design), design.T * counts)[-1]
    return log_det, float(bare @ bare), float(plain @ covariance @ plain)
