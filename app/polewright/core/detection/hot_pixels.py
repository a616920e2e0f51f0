"""Pixels that shine by themselves: lone spikes in one frame, and those that stay put while the sky moves."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, IntArray, PixelArray

# above what a neighbour explains: noise does so once in three million pixels (normal distribution)
_SPIKE_SIGMA = 5.0
_LEAST_MOTION_PX = 4.0  # the sky must have moved by this much for staying put to mean anything
_SAME_PLACE_PX = 0.7  # a hot pixel has one place; half a pixel of centroid noise either way (chosen)
_NEAR = np.array([(dy, dx) for dy in range(-2, 3) for dx in range(-2, 3) if (dy, dx) != (0, 0)])  # of a pixel


def spikes(flat: NDArray[np.float32], brightest_neighbour: NDArray[np.float32], width_px: float) -> NDArray[np.bool_]:
    """Where a pixel towers over its brightest neighbour more than any star does: (H, W) bool.

    `flat` and `brightest_neighbour` (of eight) are in units of the noise above the sky. `width_px`: Gaussian width of
    the stars, pixel included; 0 when unknown (an undersampled star is then spared). A centred Gaussian star has a
    ratio of exp(1 / (2 s^2)) between its brightest pixel and the next.
    """
    ratio = 4.5 if width_px <= 0.0 else float(np.clip(1.25 * np.exp(0.5 / width_px**2), 1.4, 4.5))
    return flat > np.float32(ratio) * np.maximum(brightest_neighbour, np.float32(1.5)) + np.float32(_SPIKE_SIGMA)


@dataclass(frozen=True, eq=False)
class HotPixelMask:
    """Known hot pixels of one camera, a value: `update` returns a new mask.

    `shape` (H, W) of the frames it is for; `hot_index` (K,) where the hot pixels are, row after row, ascending: they
    are few, and a frame has millions. `last_px` (M, 2) are the places (x, y) of the sources in the previous frame,
    `suspects_px` (S, 2) those that have stayed put over one move of the sky.
    """

    shape: tuple[int, int]
    hot_index: IntArray
    last_px: FloatArray
    suspects_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    @classmethod
    def empty(cls, height_px: int, width_px: int) -> HotPixelMask:
        """A mask that knows nothing yet."""
        return cls((height_px, width_px), np.zeros(0, dtype=np.int64), np.zeros((0, 2)))

    def __len__(self) -> int:
        return int(self.hot_index.size)

    @property
    def hot(self) -> NDArray[np.bool_]:
        """The same as a picture (H, W)."""
        picture = np.zeros(self.shape, dtype=bool)
        picture.ravel()[self.hot_index] = True
        return picture

    def update(self, places_px: FloatArray, sky_moved_px: float | FloatArray) -> HotPixelMask:
        """Learn from one more frame: what stood at the same pixel over two moves of the sky is no star.

        `places_px` (N, 2): x, y of the sources of the frame that are not known to be stars. `sky_moved_px`: how far
        the star field moved since the previous frame given here, from the plate solutions, for the whole frame or at
        each place (N,); NaN when unknown. Below 4 px nothing is learned, because on a well guided mount the stars
        stay put too. One move is not enough: when the mount moves while the shutter is open, the frame shows every
        star twice, once where it stood in the frame before.
        """
        moved = np.broadcast_to(np.asarray(sky_moved_px, dtype=np.float64), places_px.shape[:1]) >= _LEAST_MOTION_PX
        suspected = _seen_at(places_px, self.suspects_px)
        stayed = moved & _seen_at(places_px, self.last_px)
        hot = np.union1d(self.hot_index, _clumps(self.shape, places_px[stayed & suspected]))
        return HotPixelMask(self.shape, hot, places_px, places_px[(stayed | suspected) & ~(stayed & suspected)])

    def mended(self, pixels: PixelArray) -> PixelArray:
        """A copy with every hot pixel replaced by the median of its good neighbours; `pixels` itself when none is hot
        or the mask belongs to another frame size."""
        if self.shape != pixels.shape or not self.hot_index.size:
            return pixels
        return _replaced(pixels, self.hot_index)


def _seen_at(places_px: FloatArray, others_px: FloatArray) -> NDArray[np.bool_]:
    """(N,) whether one of the others lies at the same pixel."""
    if others_px.shape[0] == 0:
        return np.zeros(places_px.shape[0], dtype=bool)
    gap = np.abs(places_px[:, None, :] - others_px[None, :, :]).max(axis=2).min(axis=1)
    return np.asarray(gap < _SAME_PLACE_PX)


def _clumps(shape: tuple[int, int], places_px: FloatArray) -> IntArray:
    """Indices: a lone hot pixel is known by its shape; what passes as a star is a clump of 3 x 3."""
    height, width = shape
    x = np.clip(np.rint(places_px[:, 0]).astype(np.int64), 0, width - 1)
    y = np.clip(np.rint(places_px[:, 1]).astype(np.int64), 0, height - 1)
    step = np.arange(-1, 2)
    rows = np.clip(y[:, None, None] + step[:, None], 0, height - 1)
    columns = np.clip(x[:, None, None] + step, 0, width - 1)
    return np.asarray((rows * width + columns).ravel(), dtype=np.int64)


def replaced_by_neighbours(pixels: PixelArray, bad: NDArray[np.bool_]) -> PixelArray:
    """A copy of the pixels with the `bad` ones replaced by the median of their good neighbours (5 x 5)."""
    return _replaced(pixels, np.flatnonzero(bad))


def _replaced(pixels: PixelArray, bad_index: IntArray) -> PixelArray:
    """The same; `bad_index` (K,) row after row, ascending."""
    height, width = pixels.shape
    y, x = np.divmod(bad_index, width)
    ny = np.clip(y[:, None] + _NEAR[:, 0], 0, height - 1)
    nx = np.clip(x[:, None] + _NEAR[:, 1], 0, width - 1)
    values = np.where(_among(bad_index, ny * width + nx), np.nan, pixels[ny, nx].astype(np.float64))
    lonely = np.isnan(values).all(axis=1)
    if lonely.any():
        values[lonely] = float(np.median(pixels))
    result = pixels.copy()
    result[y, x] = _medians(values).astype(pixels.dtype)
    return result


def _medians(values: FloatArray) -> FloatArray:
    """(K,) of values (K, n), NaN left out, at least one in each row: numpy.nanmedian without its masked arrays."""
    ordered, rows = np.sort(values, axis=1), np.arange(len(values))  # NaN comes last
    good = values.shape[1] - np.count_nonzero(np.isnan(values), axis=1)
    return np.asarray((ordered[rows, (good - 1) // 2] + ordered[rows, good // 2]) / 2.0)


def _among(ascending: IntArray, wanted: IntArray) -> NDArray[np.bool_]:
    """Whether each of `wanted` is in `ascending`."""
    at = np.searchsorted(ascending, wanted)
    return np.asarray(ascending[np.minimum(at, ascending.size - 1)] == wanted) if ascending.size else wanted < 0
