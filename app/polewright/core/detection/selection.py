"""Which measured sources are stars, and what the others are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.measure import SHARPEST_STAR_VARIANCE, Measurement, Sources
from polewright.core.detection.moments import FWHM_PER_SIGMA, LEAST_WEIGHT_PX, PIXEL_VARIANCE
from polewright.core.detection.windows import middle
from polewright.core.model import FloatArray, IntArray, StarFlag

_ELONGATED = 1.6  # axis ratio: seeing and tilt make 1.3, a trail worth a word more (chosen)
_SHARP_SHARE = 0.55  # of the usual width: anything sharper is a cosmic ray or a clump of hot pixels
_STEEPEST = 2.5  # against 1.4 to 1.7 of real stars, see clutter_snr
_FEW = 6  # sources that counting noise may add to the faint end of a short list
# sources; the clearest stay, whatever the counts say: the solver copes with strays (chosen)
_WORTH_TRYING = 60
_CLEAR_SNR = 12.0  # no noise reaches this


@dataclass(frozen=True, eq=False)
class Selection:
    """The stars, brightest first, their flags and widths; what was rejected, counted by cause."""

    stars: Sources
    flags: IntArray
    fwhm_px: FloatArray
    rejected: dict[str, int]

    def counting(self, cause: str, more: int) -> Selection:
        """The same stars with `more` rejected ones added under `cause`."""
        if more == 0:
            return self
        return replace(self, rejected=self.rejected | {cause: self.rejected.get(cause, 0) + more})

    def without(self, others: NDArray[np.bool_], cause: str) -> Selection:
        """The selection less the stars where `others` is true, which are counted under `cause`."""
        rejected = self.rejected | {cause: self.rejected.get(cause, 0) + int(others.sum())}
        keep = ~others
        return Selection(self.stars.select(keep), self.flags[keep], self.fwhm_px[keep], rejected)


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
    usual = np.where(np.isfinite(s.variance_px2), s.variance_px2, width**2) < (6.0 * width) ** 2
    adrift = (s.travel_px > np.where(full | (s.axis_ratio > _ELONGATED), 4.0 * reach, reach)) & ~sharp & ~faint
    long = ~(s.axis_ratio <= 5.0) & (s.snr > 15.0) & ~sharp & ~faint & ~full
    keep = ~sharp & ~faint & ~adrift & ~long & usual
    clutter = keep & (s.snr < _bounded_clutter(s.snr[keep], least_snr))
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
    )


def trail_sources(
    x: FloatArray,
    y: FloatArray,
    flux: FloatArray,
    snr: FloatArray,
    length: FloatArray,
    width: FloatArray,
    angle: FloatArray,
) -> Sources:
    """Star trails as sources at their middles: uniform lines of `length` px, Gaussian `width` px across.

    The ends of a trail fade into the noise: its middle is good to a tenth of a width and a hundredth of its length
    at best (a cautious figure; the two ends of a faint trail are lost unequally).
    """
    along2 = length**2 / 12.0
    none = np.zeros(x.size)
    return Sources(
        x_px=x,
        y_px=y,
        sigma_px=np.hypot(0.3, 0.01 * length + length / np.maximum(snr, 1.0)),
        flux_adu=flux,
        snr=snr,
        variance_px2=0.5 * (along2 + width**2),
        axis_ratio=np.sqrt(along2 + width**2) / width,
        long_axis_rad=angle,
        peak_adu=none,
        peakedness=none,
        travel_px=none,
    )


def select_trails(sources: Sources, shape: tuple[int, int], limit: int) -> Selection:
    """The trails that are wholly inside the frame and in one piece, brightest first, all flagged as elongated."""
    height, width = shape
    half = np.sqrt(3.0 * 2.0 * sources.variance_px2)
    reach_x, reach_y = np.abs(half * np.cos(sources.long_axis_rad)), np.abs(half * np.sin(sources.long_axis_rad))
    inside = (sources.x_px - reach_x > 1) & (sources.x_px + reach_x < width - 2)
    inside &= (sources.y_px - reach_y > 1) & (sources.y_px + reach_y < height - 2)
    usual = float(np.percentile(half, 75)) if half.size else 0.0
    whole = np.abs(half - usual) < 0.25 * usual
    broken = int((inside & ~whole).sum())
    inside &= whole
    order = np.flatnonzero(inside)[np.argsort(-sources.flux_adu[inside], kind="stable")][:limit]
    stars = sources.select(order)
    flags = np.full(len(stars), int(StarFlag.ELONGATED), dtype=np.int64)
    rejected = {"cut by the edge": int((~inside).sum()) - broken, "broken trails": broken}
    rejected = {cause: n for cause, n in rejected.items() if n}
    return Selection(stars, flags, _fwhm(stars, 1.0), rejected)


def short_fwhm_px(stars: Sources) -> float:
    """Typical full width at half maximum across the short axis, pixel taken out; 0 without stars."""
    ratio2 = np.where(stars.axis_ratio < 20.0, stars.axis_ratio, 1.0) ** 2
    short2 = stars.variance_px2 * 2.0 / (1.0 + np.where(stars.axis_ratio > _ELONGATED, ratio2, 1.0))
    known = short2[np.isfinite(short2)]
    if known.size == 0:
        return 0.0
    return float(FWHM_PER_SIGMA * np.sqrt(max(middle(known) - PIXEL_VARIANCE, 0.05)))


def clutter_snr(snr: FloatArray, least_snr: float) -> float:
    """The SNR below which a list that reaches down to `least_snr` is mostly noise; 0 for a clean one.

    Stars thin out slowly with brightness: about 1.4 times as many are brighter than t as than 1.4 t (number counts
    of 10^(0.4 m), the uniform universe being steeper at 1.7; common knowledge). Noise with heavy tails is far
    steeper. The limit rises until there are no more than `_STEEPEST` times as many.
    """
    ordered = np.sort(snr)
    start = max(least_snr, float(ordered[ordered.size // 10])) if ordered.size else _CLEAR_SNR
    for limit in np.arange(start, _CLEAR_SNR, 0.25):
        above = ordered.size - np.searchsorted(ordered, limit)
        bright = ordered.size - np.searchsorted(ordered, 1.4 * limit)
        if above <= _STEEPEST * bright + _FEW:
            return float(limit) if limit > start else 0.0
    return _CLEAR_SNR if start < _CLEAR_SNR else 0.0


def _bounded_clutter(snr: FloatArray, least_snr: float) -> float:
    """The clutter limit, lowered so that the 60 clearest stay: some of them may be stars, and matching copes."""
    limit = clutter_snr(snr, least_snr)
    return min(limit, float(np.sort(snr)[max(0, snr.size - _WORTH_TRYING)])) if snr.size else limit


def _sharp(s: Sources, width: float) -> NDArray[np.bool_]:
    """A single pixel explains the light better than a usual star does, or the source is far too narrow."""
    w = max(width, LEAST_WEIGHT_PX)
    star = _peak_share(width) * np.sqrt(np.pi) * w * (width**2 + w**2) / w**2
    pixel = np.sqrt(np.pi) * w
    by_peak = s.peakedness > np.sqrt(star * pixel)
    least = max(SHARPEST_STAR_VARIANCE, (_SHARP_SHARE * width) ** 2 if width > 0.9 else 0.0)
    narrow: NDArray[np.bool_] = (s.variance_px2 < least) & (s.snr > 8.0)
    return np.asarray(by_peak | narrow, dtype=np.bool_)


def _peak_share(width: float) -> float:
    """Share of a star's light in its brightest pixel, for a Gaussian that includes the pixel, centred."""
    return float(min(1.0, 1.0 / (2.0 * np.pi * max(width**2, 0.17))))


def _first_of_each(x: FloatArray, y: FloatArray, apart_px: float) -> NDArray[np.bool_]:
    """True for the positions that have no earlier one within `apart_px` along both axes."""
    if x.size == 0:
        return np.zeros(0, dtype=bool)
    away = np.maximum(np.abs(_differences(x)), np.abs(_differences(y)))
    return np.asarray((away < apart_px).argmax(axis=1) == np.arange(x.size))  # each is near itself


def _differences(values: FloatArray) -> NDArray[np.float32]:
    """Of every two pixel coordinates, to a thousandth of a pixel: (N, N)."""
    short = values.astype(np.float32)
    return np.subtract.outer(short, short)


def _fwhm(stars: Sources, width: float) -> FloatArray:
    """Full width at half maximum with the pixel's own width taken out; the usual one where a star is too faint."""
    known = np.isfinite(stars.variance_px2) & (stars.snr > 6.0)
    variance = np.where(known, stars.variance_px2, width**2)
    return np.asarray(FWHM_PER_SIGMA * np.sqrt(np.maximum(variance - PIXEL_VARIANCE, 0.05)), dtype=np.float64)


def _flags(stars: Sources, full: NDArray[np.bool_], width: float, shape: tuple[int, int]) -> IntArray:
    height, wide = shape
    margin = FWHM_PER_SIGMA * width
    x, y = stars.x_px, stars.y_px
    edge = (x < margin) | (y < margin) | (x > wide - 1 - margin) | (y > height - 1 - margin)
    reach2 = (2.0 * FWHM_PER_SIGMA * width) ** 2
    away2, dy = _differences(x), _differences(y)
    away2 *= away2
    dy *= dy
    away2 += dy
    np.fill_diagonal(away2, np.inf)
    blended = (away2 < reach2).any(axis=1)
    elongated = (stars.axis_ratio > _ELONGATED) & (stars.snr > 12.0) & np.isfinite(stars.axis_ratio)
    flags = (
        full * int(StarFlag.SATURATED)
        + blended * int(StarFlag.BLENDED)
        + edge * int(StarFlag.EDGE)
        + elongated * int(StarFlag.ELONGATED)
    )
    return np.asarray(flags, dtype=np.int64)
