"""Has a slowly varying series of readings changed: a step, or the beginning of a ramp?

The series is taken as level + slope t + a slow wandering + noise; slope and wandering are known beforehand by their
size. Each possible onset adds one column, and the one that explains most wins: the generalised likelihood ratio,
counted in sigmas. For a known onset it is the gain in chi-square of one more column of a least-squares fit, as
follows from the normal distribution; the largest over all onsets is compared with a limit that was simulated
(tests/bench/watch_nights.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray

LEAST_AFTER = 4  # frames that must show a step
LEAST_IN_RAMP = 8  # and a ramp, so that a step is not taken for one
LEAST_BEFORE = 4  # frames that tell what was before
_ALIKE = 0.4  # a step must show in the frames after it by this share
_LONE_SIGMAS, _LIKE_SIGMAS = 4.5, 2.5  # so far from its neighbours, and unlike any of them: a gust
_BLOCK = 4  # older readings are averaged by so many: they only tell the level
_FIRST_GROWTH = 1.5  # factor on sigmas while too few old readings tell how much they scatter (chosen)


@dataclass(frozen=True)
class Quiet:
    """What is expected of the series: slope and its sigma per second; size and time scale (s) of slow wandering."""

    slope: float
    slope_sigma: float
    wander: float
    wander_s: float


@dataclass(frozen=True)
class Change:
    """The likeliest change. `size` is the step, or the rate per second of the ramp; `sigma` belongs to it."""

    ramp: bool
    onset_s: float
    size: float
    sigma: float
    sigmas: float


def find_change(
    at_s: FloatArray, value: FloatArray, sigma: FloatArray, quiet: Quiet, search_s: float
) -> Change | None:
    """The likeliest change with its onset in the last `search_s` seconds; None when the series is too short.

    All arrays have shape (N,). Lone outliers (gusts, passing lights) are left out first.
    """
    sound = _without_lone(value, sigma)
    at_s, value, sigma, blocks = _old_in_blocks(at_s[sound], value[sound], sigma[sound], search_s)
    n = at_s.size
    if n < LEAST_BEFORE + LEAST_AFTER:
        return None
    t = at_s - at_s[-1]
    onsets = np.arange(max(blocks, LEAST_BEFORE), n)
    if not onsets.size:
        return None
    model = _Expected(t, value, sigma, quiet)
    growth = model.growth(blocks)
    at, size, spread, sigmas = model.likeliest((t[:, None] >= t[onsets]).astype(float))
    step = Change(False, float(at_s[onsets[at]]), size, spread * growth, sigmas / growth)
    early = onsets[onsets <= n - LEAST_IN_RAMP]
    if early.size:
        first, *rest = model.likeliest(np.maximum(t[:, None] - t[early - 1], 0.0))
        ramp = Change(True, float(at_s[early[first] - 1]), rest[0], rest[1] * growth, rest[2] / growth)
        if ramp.sigmas >= step.sigmas:
            return ramp
    # what looks most like a step that began just now may be one: wait for more frames
    grown_up = onsets[at] <= n - LEAST_AFTER and model.shows_throughout(int(onsets[at]), size)
    return step if grown_up else None


def _old_in_blocks(
    at_s: FloatArray, value: FloatArray, sigma: FloatArray, search_s: float
) -> tuple[FloatArray, FloatArray, FloatArray, int]:
    """The series with what is older than the search averaged by fours, and how many such blocks there are."""
    old = int(np.searchsorted(at_s, at_s[-1] - search_s)) if at_s.size else 0
    blocks = old // _BLOCK
    first = old - blocks * _BLOCK  # the oldest few that fill no block are let go
    if not blocks:
        return at_s, value, sigma, 0

    def joined(x: FloatArray, factor: float = 1.0) -> FloatArray:
        means = x[first:old].reshape(blocks, _BLOCK).mean(axis=1) * factor
        return np.concatenate([means, x[old:]])

    return joined(at_s), joined(value), joined(sigma, _BLOCK**-0.5), blocks


def scatter(value: FloatArray, latest: int = 12) -> float:
    """Robust sigma of one reading from second differences: of the series, more if its latest part is rough."""
    bent = np.abs(value[2:] - 2.0 * value[1:-1] + value[:-2])
    if bent.size < 4:
        return 0.0
    scale = 1.4826 / np.sqrt(6.0)
    return float(scale * max(np.median(bent), 0.7 * np.median(bent[-latest:])))


class _Expected:
    """The series when nothing changes, with everything made white: level, slope with its prior, wandering."""

    def __init__(self, t: FloatArray, value: FloatArray, sigma: FloatArray, quiet: Quiet) -> None:
        apart = (t[:, None] - t[None, :]) / quiet.wander_s
        covariance = np.diag(np.square(sigma)) + quiet.wander**2 * np.exp(-0.5 * np.square(apart))
        self.whiten = np.linalg.inv(np.linalg.cholesky(covariance))
        self.plain = np.stack([np.ones_like(t), t], axis=1)
        self.columns = self._tall(self.plain)
        self.columns[-1, -1] = 1.0 / quiet.slope_sigma
        self.seen = np.append(self.whiten @ value, quiet.slope / quiet.slope_sigma)
        self.basis = np.linalg.qr(self.columns)[0]
        self.left = self.seen - self.basis @ (self.basis.T @ self.seen)
        self.value, self.sigma = value, sigma

    def _tall(self, columns: FloatArray) -> FloatArray:
        """White, with a last row for the prior."""
        return np.concatenate([self.whiten @ columns, np.zeros((1, columns.shape[1]))])

    def likeliest(self, columns: FloatArray) -> tuple[int, float, float, float]:
        """(column, size, sigma, sigmas) of the column of (N, M) that explains most of what is left."""
        tall = self._tall(columns)
        tall = tall - self.basis @ (self.basis.T @ tall)
        information = np.maximum(np.square(tall).sum(axis=0), 1e-30)
        size = tall.T @ self.left / information
        sigmas = np.abs(size) * np.sqrt(information)
        best = int(np.argmax(sigmas))
        return best, float(size[best]), float(1.0 / np.sqrt(information[best])), float(sigmas[best])

    def growth(self, blocks: int) -> float:
        """Factor on sigmas: by how much the first `blocks`, means of old readings, scatter more than they should."""
        if blocks < 5:
            return _FIRST_GROWTH
        return float(np.clip(np.sqrt((np.sum(np.square(self.left[:blocks])) + 10.0) / (blocks + 8.0)), 1.0, 4.0))

    def shows_throughout(self, onset: int, size: float) -> bool:
        """Whether the frames after the onset, but for one in six, lie on the side of the step, the latest too."""
        step = (np.arange(self.value.size) >= onset).astype(float)
        tall = self._tall(step[:, None])[:, 0] * size
        sizes = np.linalg.lstsq(self.columns, self.seen - tall, rcond=None)[0]
        lacks = abs(size) - np.sign(size) * (self.value - self.plain @ sizes)[onset:]
        shown = lacks <= np.maximum((1.0 - _ALIKE) * abs(size), _LIKE_SIGMAS * self.sigma[onset:])
        return bool(np.count_nonzero(~shown) <= max(1, shown.size // 6)) and bool(shown[-1] or shown.size > 6)


def _without_lone(value: FloatArray, sigma: FloatArray) -> NDArray[np.bool_]:
    """False for readings far from the median of their neighbours and unlike each of them."""
    n = value.size
    index = np.arange(n)[:, None] + np.array([-2, -1, 1, 2])
    there = (index >= 0) & (index < n)
    near = np.clip(index, 0, n - 1)
    apart = np.sort(np.where(there, value[near] - value[:, None], np.inf), axis=1) / sigma[:, None]
    count, row = there.sum(axis=1), np.arange(n)
    upper = np.minimum(count // 2, 3)
    middle = 0.5 * (apart[row, np.maximum(count - 1, 0) // 2] + apart[row, upper])
    far = (count > 0) & np.isfinite(middle) & (np.abs(middle) > _LONE_SIGMAS)
    like = np.any(np.abs(apart) < _LIKE_SIGMAS, axis=1)
    return np.asarray(~(far & ~like))
