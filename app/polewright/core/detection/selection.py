"""Which measured sources are stars, and what the others are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.measure import SHARPEST_STAR_VARIANCE, Measurement, Sources
from polewright.core.detection.moments import FWHM_PER_SIGMA, LEAST_WEIGHT_PX, PIXEL_VARIANCE
from polewright.core.model import FloatArray, IntArray, StarFlag

_ELONGATED = 1.6
_SHARP_SHARE = 0.55  # of the usual width: anything sharper is a cosmic ray or a clump of hot pixels
_STEEPEST = 2.5
_FEW = 6


@dataclass(frozen=True, eq=False)
class Selection:
    """The stars, brightest first, their flags and widths; what was rejected, counted by cause, and where the sharp
    things were ((K, 2) x, y)."""

    stars: Sources
    flags: IntArray
    fwhm_px: FloatArray
    rejected: dict[str, int]
    sharp_px: FloatArray

    def without(self, others: NDArray[np.bool_], cause: str) -> Selection:
        """The selection less the stars where `others` is true, which are counted under `cause`."""
        rejected = self.rejected | {cause: self.rejected.get(cause, 0) + int(others.sum())}
        keep = ~others
        return Selection(self.stars.select(keep), self.flags[keep], self.fwhm_px[keep], rejected, self.sharp_px)


def select(
    measurement: Measurement, shape: tuple[int, int], *, full_adu: float, least_snr: float, limit: int
) -> Selection:
    """Sort the sources into stars and others. `shape` is (height, width) of the frame."""
    s = measurement.sources
    width = measurement.width_px
    full = s.peak_adu >= full_adu
    sharp = _sharp(s, width) & ~full
    faint = ~(s.snr >= least_snr) & ~sharp
    reach = np.maximum(2.0, 1.6 * width)
    with np.errstate(invalid="ignore"):
        usual = np.where(np.isfinite(s.variance_px2), s.variance_px2, width**2) < (6.0 * width) ** 2
    adrift = (s.travel_px > np.where(full | (s.axis_ratio > _ELONGATED), 4.0 * reach, reach)) & ~sharp & ~faint
    long = (s.axis_ratio > 5.0) & np.isfinite(s.axis_ratio) & (s.snr > 15.0) & ~sharp & ~faint
    keep = ~sharp & ~faint & ~adrift & ~long & usual
    clutter = keep & (s.snr < clutter_snr(s.snr[keep]))
    keep &= ~clutter
    order = np.flatnonzero(keep)[np.argsort(-s.flux_adu[keep], kind="stable")]
    order = order[_first_of_each(s.x_px[order], s.y_px[order], max(1.2, width))]
    rejected = {
        "hot pixels": int(sharp.sum()),
        "streaks": int(long.sum()),
        "too faint": int(faint.sum()),
        "noise": int(clutter.sum()),
        "shapeless": int((adrift | ~usual).sum()),
    }
    order = order[:limit]
    stars = s.select(order)
    return Selection(
        stars,
        _flags(stars, full[order], width, shape),
        _fwhm(stars, width),
        {cause: n for cause, n in rejected.items() if n},
        np.stack((s.x_px[sharp], s.y_px[sharp]), axis=1),
    )


def clutter_snr(snr: FloatArray) -> float:
    """The SNR below which a list is mostly noise; 0 for a clean one.

    Stars thin out slowly with brightness: about 1.4 times as many are brighter than t as than 1.4 t (number counts
    of 10^(0.4 m), the uniform universe being steeper at 1.7; common knowledge). Noise with heavy tails is far
    steeper. The limit rises until there are no more than `_STEEPEST` times as many.
    """
    ordered = np.sort(snr)
    for limit in np.arange(4.0, 12.0, 0.25):
        above = ordered.size - np.searchsorted(ordered, limit)
        bright = ordered.size - np.searchsorted(ordered, 1.4 * limit)
        if above <= _STEEPEST * bright + _FEW:
            return float(limit) if limit > 4.0 else 0.0
    return 12.0


def _sharp(s: Sources, width: float) -> NDArray[np.bool_]:
    """A single pixel explains the light better than a usual star does, or the source is far too narrow."""
    w = max(width, LEAST_WEIGHT_PX)
    star = _peak_share(width) * np.sqrt(np.pi) * w * (width**2 + w**2) / w**2
    pixel = np.sqrt(np.pi) * w
    by_peak = s.peakedness > np.sqrt(star * pixel)
    least = max(SHARPEST_STAR_VARIANCE, (_SHARP_SHARE * width) ** 2 if width > 0.9 else 0.0)
    with np.errstate(invalid="ignore"):
        narrow: NDArray[np.bool_] = (s.variance_px2 < least) & (s.snr > 8.0)
    return np.asarray(by_peak | narrow, dtype=np.bool_)


def _peak_share(width: float) -> float:
    """Share of a star's light in its brightest pixel, for a Gaussian that includes the pixel, centred."""
    return float(min(1.0, 1.0 / (2.0 * np.pi * max(width**2, 0.17))))


def _first_of_each(x: FloatArray, y: FloatArray, apart_px: float) -> NDArray[np.bool_]:
    """True for the positions that have no earlier one within `apart_px`."""
    near = (np.abs(x[:, None] - x) < apart_px) & (np.abs(y[:, None] - y) < apart_px)
    return np.logical_not(np.tril(near, -1).any(axis=1))


def _fwhm(stars: Sources, width: float) -> FloatArray:
    """Full width at half maximum with the pixel's own width taken out; the usual one where a star is too faint."""
    with np.errstate(invalid="ignore"):
        known = np.isfinite(stars.variance_px2) & (stars.snr > 6.0)
    variance = np.where(known, stars.variance_px2, width**2)
    return np.asarray(FWHM_PER_SIGMA * np.sqrt(np.maximum(variance - PIXEL_VARIANCE, 0.05)), dtype=np.float64)


def _flags(stars: Sources, full: NDArray[np.bool_], width: float, shape: tuple[int, int]) -> IntArray:
    height, wide = shape
    margin = FWHM_PER_SIGMA * width
    x, y = stars.x_px, stars.y_px
    edge = (x < margin) | (y < margin) | (x > wide - 1 - margin) | (y > height - 1 - margin)
    reach2 = (2.0 * FWHM_PER_SIGMA * width) ** 2
    blended = ((x[:, None] - x) ** 2 + (y[:, None] - y) ** 2 < reach2).sum(axis=1) > 1
    with np.errstate(invalid="ignore"):
        elongated = (stars.axis_ratio > _ELONGATED) & (stars.snr > 12.0) & np.isfinite(stars.axis_ratio)
    flags = (
        full * int(StarFlag.SATURATED)
        + blended * int(StarFlag.BLENDED)
        + edge * int(StarFlag.EDGE)
        + elongated * int(StarFlag.ELONGATED)
    )
    return np.asarray(flags, dtype=np.int64)
