"""Splitting large lit regions: close pairs, and stars grown together with their glow."""

from __future__ import annotations

import numpy as np

from polewright.core.detection.windows import WindowArray, cut_windows
from polewright.core.model import FloatArray, IntArray, PixelArray

_LARGE_PX = 2.6  # rms extent along the long axis from which a region may hold more than one star
_LONGEST_PX = 25.0  # beyond this it is a trail or a glow, not a group
_SIDE_SHARE = 0.06  # a second peak counts from this share of the highest
_PEAK_SIGMA = 8.0  # a second star must be clear by itself: splitting noise makes false stars (chosen)
_APART_PX = 3.0  # closer pairs are one blurred star
_MOST_SPLIT = 200  # regions a frame (bound of time)
_MOST_PEAKS, _PEAKS_EACH = 2000, 10  # on a flat-topped picture every pixel is a peak, and all are compared with all
_BEADS, _LINE = 4, 3.0  # a region this elongated with this many peaks is one trail


def split_large(
    pixels: PixelArray, x: FloatArray, y: FloatArray, extent_px: FloatArray, elongation: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The places with every large region replaced by the peaks inside it (3 x 3 means, at least 3 px apart).

    `extent_px` (N,): rms extent of the region along its long axis; `elongation` that over the short one. The order is
    kept. A region with one peak, or a long one with many, keeps its own centre: the better guess for a trailed star.
    """
    large = np.flatnonzero((extent_px > _LARGE_PX) & (extent_px < _LONGEST_PX))[:_MOST_SPLIT]
    if large.size == 0:
        return x, y
    half = int(np.clip(np.ceil(2.5 * extent_px[large].max()), 8, 20))
    windows = cut_windows(pixels, x[large], y[large], half)
    if windows.side_px < 9:
        return x, y
    smooth = _over_threes(np.add, windows.sky_free) / np.float32(9.0)
    around = _over_threes(np.maximum, smooth)
    middle = smooth[:, 1:-1, 1:-1]
    top = middle.max(axis=(1, 2))
    least = np.maximum(_SIDE_SHARE * top, _PEAK_SIGMA / 3.0 * windows.noise_adu)
    region, row, column = np.nonzero((middle >= around) & (middle > least[:, None, None]))
    peak_x = windows.x0_px[region] + column + 2.0
    peak_y = windows.y0_px[region] + row + 2.0
    inside = np.hypot(peak_x - x[large][region], peak_y - y[large][region]) < 2.5 * extent_px[large][region] + 1.0
    order = np.flatnonzero(inside)[np.argsort(-middle[region, row, column][inside], kind="stable")]
    if order.size > _MOST_PEAKS:
        order = order[_first_of_each(region[order], _PEAKS_EACH)]
    region, peak_x, peak_y = region[order], peak_x[order], peak_y[order]
    near = np.hypot(peak_x[:, None] - peak_x, peak_y[:, None] - peak_y) < _APART_PX
    first = ~np.tril(near, -1).any(axis=1)
    peaks = np.bincount(region[first], minlength=large.size)
    several = (peaks > 1) & ~((peaks >= _BEADS) & (elongation[large] > _LINE))
    chosen = first & several[region]
    keep = np.ones(x.size, dtype=bool)
    keep[large[several]] = False
    places = np.concatenate((np.flatnonzero(keep), large[region[chosen]]))
    rank = np.argsort(places, kind="stable")
    return np.concatenate((x[keep], peak_x[chosen]))[rank], np.concatenate((y[keep], peak_y[chosen]))[rank]


def _first_of_each(region: IntArray, most: int) -> IntArray:
    """Ascending indices of the first `most` entries of every region; `region` (N,) numbers them."""
    together = np.argsort(region, kind="stable")
    ordered = region[together]
    rank = np.arange(region.size) - np.searchsorted(ordered, ordered)
    return np.sort(together[rank < most])


def _over_threes(of_two: np.ufunc, windows: WindowArray) -> WindowArray:
    """What `of_two` makes of every 3 x 3 pixels: windows two pixels smaller each way."""
    rows = of_two(of_two(windows[:, :-2], windows[:, 1:-1]), windows[:, 2:])
    return np.asarray(of_two(of_two(rows[:, :, :-2], rows[:, :, 1:-1]), rows[:, :, 2:]))
