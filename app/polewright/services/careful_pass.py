"""The careful pass over a difficult frame: mended pixels, a background mesh, matched filters of several widths.

sep (a library build of the SExtractor algorithms) makes the background and groups and deblends the pixels; scipy
filters. The filtered map is brought to unit noise by its own spread, so that walking noise and interpolated colours
raise the threshold instead of making stars.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.hot_pixels import replaced_by_neighbours, spikes
from polewright.core.detection.trails import Streaks
from polewright.core.detection.windows import QUANTISATION_NOISE
from polewright.core.model import FloatArray, PixelArray

THRESHOLD = 4.2
_WIDTHS_PX = (0.75, 1.3, 2.4, 4.5)
_MESH_PX = 48
_MAD_TO_SIGMA = 1.4826
_MOST_CANDIDATES = 1500


def mended(pixels: PixelArray, width_px: float) -> tuple[NDArray[np.float32], int]:
    """The pixels as float32 with lone spikes replaced by the median around them, and how many there were."""
    from scipy import ndimage

    data = np.ascontiguousarray(pixels, dtype=np.float32)
    ring = np.ones((3, 3), dtype=bool)
    ring[1, 1] = False
    around = ndimage.maximum_filter(data, footprint=ring)
    hot = spikes(data, around, width_px)
    if not hot.any():
        return data, 0
    return replaced_by_neighbours(data, hot).astype(np.float32), int(hot.sum())


@dataclass(frozen=True, eq=False)
class Candidates:
    """Rough places, most significant first, and the streaks seen on the way."""

    x_px: FloatArray
    y_px: FloatArray
    streaks: Streaks


def careful_candidates(data: NDArray[np.float32], width_px: float) -> Candidates:
    """Everything above the threshold under a matched filter.

    `width_px`: Gaussian width of the stars where it is known, 0 to try several.
    """
    import sep
    from scipy import ndimage

    background = sep.Background(data, bw=_MESH_PX, bh=_MESH_PX, fw=3, fh=3)
    noise = np.maximum(background.rms(), QUANTISATION_NOISE if background.globalrms > 0.1 else 1e-6)
    flat = (data - background.back()) / noise
    columns = []
    streaks = Streaks()
    for width in (width_px,) if width_px else _WIDTHS_PX:
        smooth = ndimage.gaussian_filter(flat, width, truncate=3.0)
        spread = _MAD_TO_SIGMA * float(np.median(np.abs(smooth[::2, ::2]))) or float(smooth.std()) or 1.0
        found = sep.extract(smooth / spread, THRESHOLD, filter_kernel=None, minarea=2, clean=False, deblend_cont=0.01)
        compact = found["a"] < 2.5 * np.maximum(found["b"], 0.5)
        x, y = np.where(compact, found["xpeak"], found["x"]), np.where(compact, found["ypeak"], found["y"])
        columns.append(np.stack((x, y, found["peak"], np.full(found.size, max(1.5, 1.5 * width)))))
        long = (found["a"] > 3.0 * found["b"]) & (found["a"] > 2.0 * width)
        seen = Streaks.among(np.sqrt(12.0) * found["a"][long].astype(np.float64), found["theta"][long])
        streaks = max(streaks, seen, key=lambda s: s.alike)
    x, y = _merged(np.concatenate(columns, axis=1).astype(np.float64))
    return Candidates(x, y, streaks)


def _merged(columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One place for each thing that several filters saw: the most significant. Rows: x, y, significance, reach."""
    order = np.argsort(-columns[2], kind="stable")[:_MOST_CANDIDATES]
    x, y, _, reach = columns[:, order]
    near = np.hypot(x[:, None] - x, y[:, None] - y) < np.maximum(reach[:, None], reach)
    first = ~np.tril(near, -1).any(axis=1)
    return x[first], y[first]
