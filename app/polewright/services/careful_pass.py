"""The careful pass over a difficult frame: a background mesh, mended pixels, matched filters of several widths.

sep (a library build of the SExtractor algorithms) makes the background and groups and deblends the pixels; scipy
filters. The filtered map is brought to unit noise by its own spread, so that walking noise and interpolated colours
raise the threshold instead of making stars.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.hot_pixels import replaced_by_neighbours, spikes
from polewright.core.detection.trails import Streaks
from polewright.core.detection.windows import MAD_TO_SIGMA, QUANTISATION_NOISE, middle
from polewright.core.model import FloatArray, PixelArray

Image = NDArray[np.float32]

# of a filtered map of unit noise: 13 false peaks in a million pixels (normal distribution), sorted out by measuring
THRESHOLD = 4.2
_STREAK_WIDTH_PX = 1.3  # a usual star: trails are as wide as their stars
# Gaussian, each 1.8 times the last: the next one loses less than a tenth of a star of any width between
_WIDTHS_PX = (0.75, 1.3, 2.4, 4.5)
_MESH_PX = 48  # of the background: wider than any star, narrower than gradients and glows
_MOST_CANDIDATES = 1500  # compared all with all (bound of memory: 18 MB)
_LIMITS_OF_SEP = ("internal pixel buffer full", "object deblending overflow")


@dataclass(frozen=True, eq=False)
class Candidates:
    """Rough places, most significant first. `data` are the pixels they were found in, lone spikes mended."""

    x_px: FloatArray
    y_px: FloatArray
    data: Image
    spikes: int


@dataclass(frozen=True, eq=False)
class Trails:
    """Connected long regions: places of their middles, flux (ADU) and significance, and what they have in common."""

    x_px: FloatArray
    y_px: FloatArray
    flux_adu: FloatArray
    snr: FloatArray
    length_px: FloatArray
    width_px: FloatArray
    angle_rad: FloatArray
    others: int  # compact regions as significant as the trails

    @property
    def streaks(self) -> Streaks:
        return Streaks.among(self.length_px, self.angle_rad)


@dataclass(frozen=True, eq=False)
class Flat:
    """A frame freed of its background, in units of its local noise, lone spikes mended."""

    data: Image  # mended pixels, ADU
    flat: Image
    noise_adu: float
    spikes: int


def flattened(pixels: PixelArray, width_px: float) -> Flat:
    """Take off the background mesh and mend lone spikes. `width_px`: Gaussian width of the stars, 0 unknown."""
    import sep
    from scipy import ndimage

    data = np.array(pixels, dtype=np.float32, order="C")
    background = sep.Background(data, bw=_MESH_PX, bh=_MESH_PX, fw=3, fh=3)
    flat = data - background.back()
    # the spread within a mesh of the frame itself would hold its gradient too
    spread = sep.Background(flat, bw=_MESH_PX, bh=_MESH_PX, fw=3, fh=3)
    least = QUANTISATION_NOISE if pixels.dtype.kind != "f" else 1e-6
    flat -= spread.back()
    flat /= np.maximum(spread.rms(), np.float32(least))
    ring = np.ones((3, 3), dtype=bool)
    ring[1, 1] = False
    hot = spikes(flat, ndimage.maximum_filter(flat, footprint=ring), width_px)
    if hot.any():
        data = replaced_by_neighbours(data, hot).astype(np.float32)
        flat = replaced_by_neighbours(flat, hot).astype(np.float32)
    return Flat(data, flat, float(spread.globalrms), int(hot.sum()))


def _filtered(flat: Image, width_px: float) -> Image:
    """The matched filter map in units of its own noise."""
    from scipy import ndimage

    smooth = ndimage.gaussian_filter(flat, width_px, truncate=3.0)
    spread = MAD_TO_SIGMA * middle(np.abs(smooth[::3, ::3]).ravel()) or float(smooth.std()) or 1.0
    return np.asarray(smooth / np.float32(max(spread, 1e-3)), dtype=np.float32)


def extracted(flat: Image, threshold: float, minarea: int, deblend_cont: float) -> NDArray[Any]:
    """The regions that sep finds; of a picture beyond its limits (half of it lit, as previews stretched for the eye
    are) only what towers higher, unsplit, and nothing at last.

    sep tells its limits by a bare Exception. They are not raised: that would hold for the whole process.
    """
    import sep

    for times, cont in ((1.0, deblend_cont), (1.0, 1.0), (4.0, 1.0), (16.0, 1.0)):
        try:
            found: NDArray[Any] = sep.extract(
                flat, times * threshold, filter_kernel=None, minarea=minarea, clean=False, deblend_cont=cont
            )
            return found
        except Exception as error:
            if not any(word in str(error) for word in _LIMITS_OF_SEP):
                raise
    nothing: NDArray[Any] = sep.extract(np.zeros((8, 8), dtype=np.float32), 1.0)
    return nothing


def long_regions(image: Flat) -> Trails:
    """Connected regions more than four times as long as wide, without any splitting."""
    found = extracted(_filtered(image.flat, _STREAK_WIDTH_PX), 1.5 * THRESHOLD, minarea=9, deblend_cont=1.0)
    # a star smoothed by the filter has widths of about 2 px: the long axis must stand out against that
    long = (found["a"] > 3.5) & (found["a"] > 2.5 * found["b"])
    t = found[long]
    width = np.sqrt(np.maximum(t["b"].astype(np.float64) ** 2 - _STREAK_WIDTH_PX**2, 0.5))
    return Trails(
        t["x"].astype(np.float64),
        t["y"].astype(np.float64),
        t["flux"].astype(np.float64) * image.noise_adu,
        t["flux"].astype(np.float64) / np.sqrt(np.maximum(t["npix"], 1)),
        np.sqrt(12.0) * t["a"].astype(np.float64),
        width,
        t["theta"].astype(np.float64),
        int((~long & (found["peak"] > 2.0 * THRESHOLD)).sum()),
    )


def careful_candidates(image: Flat, width_px: float) -> Candidates:
    """Everything above the threshold under a matched filter. `width_px`: of the stars, 0 to try several."""
    columns = []
    for width in (width_px,) if width_px else _WIDTHS_PX:
        found = extracted(_filtered(image.flat, width), THRESHOLD, minarea=2, deblend_cont=0.01)
        compact = found["a"] < 2.5 * np.maximum(found["b"], 0.5)
        x, y = np.where(compact, found["xpeak"], found["x"]), np.where(compact, found["ypeak"], found["y"])
        columns.append(np.stack((x, y, found["peak"], np.full(found.size, max(1.5, 1.5 * width)))))
    x, y = _merged(np.concatenate(columns, axis=1).astype(np.float64))
    return Candidates(x, y, image.data, image.spikes)


def _merged(columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One place for each thing that several filters saw: the most significant. Rows: x, y, significance, reach."""
    order = np.argsort(-columns[2], kind="stable")[:_MOST_CANDIDATES]
    x, y, _, reach = columns[:, order]
    near = np.hypot(x[:, None] - x, y[:, None] - y) < np.maximum(reach[:, None], reach)
    first = ~np.tril(near, -1).any(axis=1)
    return x[first], y[first]
