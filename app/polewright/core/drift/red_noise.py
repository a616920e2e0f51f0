"""How much less sure a drift is because the pointing wanders slowly: white scatter and red noise told apart.

The scatter of the frames is modelled as white noise and an Ornstein-Uhlenbeck process beside it; sizes and memory are
not estimated but averaged over, weighted by the restricted likelihood of the residuals (Patterson & Thompson,
Biometrika 58, 545 (1971)). What comes out is the variance of a straight line's slope over that by white noise.

Decided 2026-11-29. The correlation of neighbours is not enough. Under white scatter a slow wander correlates
neighbours by a few per cent and still doubles or trebles the sigma of a slope (tests/bench/drift_coverage.py).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from polewright.core.model import FloatArray

MOST_BLOCKS = 60  # of a field: bounds the work, and is finer than the shortest memory matters (chosen)
RATIOS = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0)  # variance of the wander over that of one frame's white noise (chosen)
MEMORIES_S = (8.0, 20.0, 50.0, 120.0)  # slow leaning, air and play of gears (chosen)


def slope_growth(fields: Sequence[tuple[FloatArray, FloatArray]]) -> float:
    """Factor, at least 1, on the variance of the slopes of `fields`: times (N,) in s and residuals (N,) of each; all
    share one noise."""
    blocks = [_blocks(at_s, left) for at_s, left in fields if at_s.size >= 5]
    if not blocks:
        return 1.0
    weights, growths = [], []
    for ratio in RATIOS:
        for memory_s in MEMORIES_S if ratio else MEMORIES_S[:1]:
            told = [_one(block, ratio, memory_s) for block in blocks]
            dof = sum(len(block[0]) - 2 for block in blocks)
            variance = sum(left for _, left, _ in told) / dof
            weights.append(-0.5 * (sum(log_det for log_det, _, _ in told) + dof * np.log(variance)))
            growths.append(variance * float(np.mean([slope for _, _, slope in told])))
    share = np.exp(np.array(weights) - max(weights))
    share[0] *= len(MEMORIES_S)  # no wander at all counts as much as any size of it
    usual = np.mean([_white(at_s, left) for at_s, left in fields if at_s.size >= 5])
    return max(float(share @ np.array(growths) / share.sum() / usual), 1.0)


def _white(at_s: FloatArray, left: FloatArray) -> float:
    """Variance of the slope as white noise of the size of the scatter gives it."""
    since = at_s - at_s.mean()
    bare = left - np.polyval(np.polyfit(since, left, 1), since)
    return float(np.sum(np.square(bare)) / (at_s.size - 2) / np.sum(np.square(since)))


def _blocks(at_s: FloatArray, left: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Times, means and numbers of frames of the blocks of a field."""
    parts = np.array_split(np.arange(at_s.size), min(at_s.size, MOST_BLOCKS))
    times, means = (np.array([values[part].mean() for part in parts]) for values in (at_s, left))
    return times, means, np.array([float(part.size) for part in parts])


def _one(
    block: tuple[FloatArray, FloatArray, FloatArray], ratio: float, memory_s: float
) -> tuple[float, float, float]:
    """(log determinants, weighted squares left, variance of the slope), all for a white variance of 1."""
    times, means, counts = block
    since = times - np.average(times, weights=counts)
    line = np.stack([np.ones_like(since), since], axis=1)
    covariance = np.diag(1.0 / counts) + ratio * np.exp(-np.abs(since[:, None] - since[None, :]) / memory_s)
    lower = np.linalg.cholesky(covariance)
    white_line, white_left = np.linalg.solve(lower, line), np.linalg.solve(lower, means)
    normal = white_line.T @ white_line
    bare = white_left - white_line @ np.linalg.solve(normal, white_line.T @ white_left)
    log_det = 2.0 * float(np.sum(np.log(np.diag(lower)))) + float(np.log(np.linalg.det(normal)))
    plain = counts * since / np.sum(counts * np.square(since))  # the slope as the fit takes it
    return log_det, float(bare @ bare), float(plain @ covariance @ plain)
