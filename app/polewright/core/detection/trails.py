"""Satellites and aircraft: faint trails fall apart into sources that lie on one straight line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.measure import Measurement
from polewright.core.detection.selection import Selection
from polewright.core.model import FloatArray

_BAND_PX = 1.5  # half width of a line that faint pieces of one trail lie in
_MOST_SOURCES = 160  # whose pairs are all tried (bound of time: 13,000 lines)
_CHANCE = 1e-4  # accepted odds of calling unrelated stars a line, per frame
_LEAST = 7  # sources on a line; six unrelated ones of 160 line up by chance too often for _CHANCE


@dataclass(frozen=True, eq=False)
class Streaks:
    """Long sources: `alike` of them share a direction; `length_px` is their typical length (0: none)."""

    alike: int = 0
    length_px: float = 0.0

    @classmethod
    def among(cls, length_px: FloatArray, angle_rad: FloatArray) -> Streaks:
        """Count the streaks within 10 degrees of their middle direction; the length is the upper quartile, because
        crossing and noise break streaks but seldom join them."""
        if length_px.size == 0:
            return cls()
        turn = np.exp(2.0j * angle_rad)
        middle = np.angle(np.median(turn.real) + 1j * np.median(turn.imag))
        alike = np.abs(np.angle(turn * np.exp(-1j * middle))) / 2.0 < np.radians(10.0)
        return cls(int(alike.sum()), float(np.percentile(length_px[alike], 75)) if alike.any() else 0.0)


def streaks_of(measurement: Measurement) -> Streaks:
    """The streaks among measured sources; longer ones than the measuring window (80 px) look like it."""
    s = measurement.sources
    long = (s.axis_ratio > 3.0) & (s.snr > 15.0) & (s.peakedness < 1.0)
    if not long.any():
        return Streaks()
    length = np.sqrt(12.0 * 2.0 * np.nan_to_num(s.variance_px2[long], nan=(20.0) ** 2))
    return Streaks.among(length, s.long_axis_rad[long])


def without_lines(selection: Selection, shape: tuple[int, int], *, all_pairs: bool) -> Selection:
    """The selection less the sources on straight lines. Without `all_pairs` only long ones propose a line (quick)."""
    stars = selection.stars
    proposers = np.ones(len(stars), dtype=bool) if all_pairs else ~(stars.axis_ratio < 1.8)
    line = on_lines(stars.x_px, stars.y_px, proposers, shape)
    return selection.without(line, "trail") if line.any() else selection


def on_lines(x: FloatArray, y: FloatArray, proposers: NDArray[np.bool_], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """True for the sources that belong to a line far richer than chance allows; `shape` is (height, width).

    Every pair of the faintest 160 proposers gives a line (a bright trail is one long source and is known by its
    shape; the list is brightest first). A line is taken when the Poisson odds of its count are below 1e-4 for all
    pairs together; then the next is looked for among the rest.
    """
    line = np.zeros(x.size, dtype=bool)
    for _ in range(4):
        rest = np.flatnonzero(proposers & ~line)[-_MOST_SOURCES:]
        members = _richest_line(x[rest], y[rest], shape)
        if members is None:
            break
        line |= _near_fitted_line(x, y, x[rest][members], y[rest][members])
    return line


def _richest_line(x: FloatArray, y: FloatArray, shape: tuple[int, int]) -> NDArray[np.bool_] | None:
    n = int(x.size)
    if n < _LEAST:
        return None
    height, width = shape
    i, j = np.triu_indices(n, 1)
    dx, dy = x[j] - x[i], y[j] - y[i]
    length = np.hypot(dx, dy)
    far = length > 0.1 * max(height, width)
    i, dx, dy = i[far], dx[far] / length[far], dy[far] / length[far]
    if i.size == 0:
        return None
    offset = (x[i] * dy - y[i] * dx).astype(np.float32)
    distance = np.abs(
        np.outer(dy.astype(np.float32), x.astype(np.float32))
        - np.outer(dx.astype(np.float32), y.astype(np.float32))
        - offset[:, None]
    )
    counts = (distance < _BAND_PX).sum(axis=1)
    best = int(counts.argmax())
    expected = n * 2.0 * _BAND_PX * float(np.hypot(height, width)) / (height * width)
    if counts[best] < _LEAST or i.size * _poisson_tail(int(counts[best]) - 2, expected) > _CHANCE:
        return None
    return np.asarray(distance[best] < _BAND_PX)


def _poisson_tail(at_least: int, expected: float) -> float:
    """Probability of `at_least` or more events."""
    term, total = float(np.exp(-expected)), 0.0
    for k in range(at_least):
        total += term
        term *= expected / (k + 1)
    return max(0.0, 1.0 - total) if total < 1.0 - 1e-9 else term


def _near_fitted_line(x: FloatArray, y: FloatArray, px: FloatArray, py: FloatArray) -> NDArray[np.bool_]:
    """The sources within the band of the line through the points (px, py), between its ends."""
    cx, cy = px.mean(), py.mean()
    _, _, axes = np.linalg.svd(np.stack((px - cx, py - cy), axis=1), full_matrices=False)
    along = (x - cx) * axes[0, 0] + (y - cy) * axes[0, 1]
    across = (x - cx) * axes[0, 1] - (y - cy) * axes[0, 0]
    ends = (px - cx) * axes[0, 0] + (py - cy) * axes[0, 1]
    return np.asarray((np.abs(across) < _BAND_PX) & (along > ends.min() - 5.0) & (along < ends.max() + 5.0))
