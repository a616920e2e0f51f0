"""Candidates on a frame -> measured sources: centroid and its error, flux, width and shape.

Learn the width of the stars from the brightest candidates; measure every candidate under a round weight of that
width (moments.py); measure the odd ones (full, trailed, wide) again under a weight that takes on their own shape
(shapes.py); take the noise from blank sky of the same frame (calibration.py). What is no star is sorted out in
selection.py.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.calibration import FrameNoise, PhotonNoise, blank_places, frame_noise, photon_noise
from polewright.core.detection.moments import (
    LEAST_WEIGHT_PX,
    Moments,
    circular_moments,
    squared_weight_light,
    weight_sums,
)
from polewright.core.detection.shapes import elliptical_moments
from polewright.core.detection.windows import Windows, cut_windows, held
from polewright.core.model import FloatArray, PixelArray

FLOOR_SIGMA_PX = 0.03  # no centroid is better: pixel response, seeing wander (common practice, no source)
SHARPEST_STAR_VARIANCE = 0.20  # px^2, pixel included: a star of FWHM 1.05 px; a hot pixel has 0
_STEPS = 3  # of the weighted centroid (chosen)
_REACH = 4.2  # half side of a window in star widths
_USUAL_HALF_PX = 7  # window half side for stars of the usual width, 1.3 px, with room for a rim of sky
_ODD_AXIS_RATIO = 1.6  # a star this long is measured under a weight of its own shape (chosen)
_TEACHERS = 28  # candidates that the usual width is learned from
_MOST_ODD = 120  # such stars a frame; a frame with more is trailed, and 120 tell its shape (bound of time)
_FULL_SHARE = 0.02  # centroid error in square roots of the full area
_BLEED_SHARE = 0.25  # of the difference of its sides; seen on CCD frames against a catalogue
_ALIASING_PX = 2.9  # fitted to simulated stars of FWHM 1.2 px, see _aliasing_variance
_USUAL_WIDTH_PX = 1.3  # Gaussian width taken when no candidate teaches a better one


@dataclass(frozen=True, eq=False)
class Sources:
    """Measured candidates, arrays (N,), in frame coordinates."""

    x_px: FloatArray
    y_px: FloatArray
    sigma_px: FloatArray
    flux_adu: FloatArray
    snr: FloatArray
    variance_px2: FloatArray  # mean over the axes, pixel included; NaN when not measurable
    axis_ratio: FloatArray
    long_axis_rad: FloatArray  # from +x towards +y
    peak_adu: FloatArray  # highest raw pixel within the core
    peakedness: FloatArray  # significance of the brightest pixel alone over that of the whole star
    travel_px: FloatArray  # from the candidate's place to the centroid

    def __len__(self) -> int:
        return int(self.x_px.size)

    def select(self, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Sources:
        """The sources where `keep` is true, or at its indices."""
        return Sources(*(getattr(self, f.name)[keep] for f in fields(self)))


@dataclass(frozen=True, eq=False)
class Measurement:
    """All sources of a frame with the frame's noise and typical star width (Gaussian sigma, pixel included)."""

    sources: Sources
    noise: FrameNoise
    width_px: float


def star_width_px(windows: Windows, x: FloatArray, y: FloatArray, full_adu: float) -> float:
    """Typical Gaussian width (pixel included) of candidates at (x, y) in the frame; 0 when they teach nothing.

    Sharp things (hot pixels, cosmic rays) and full stars are left out.
    """
    start = np.full(x.size, 0.18 * windows.side_px / 2.0)
    m = circular_moments(windows, x - windows.x0_px, y - windows.y0_px, start, 5, adapt=True)
    top = windows.sky_free.max(axis=(1, 2)) + windows.sky_adu
    usable = (m.variance_px2 > SHARPEST_STAR_VARIANCE) & (_significance(windows, m) > 7.0) & (top < full_adu)
    round_ones = usable & (m.axis_ratio < 2.5)
    if int(round_ones.sum()) >= 3:
        usable = round_ones
    return float(np.sqrt(_commonest(m.variance_px2[usable]))) if usable.any() else 0.0


def _commonest(values: FloatArray) -> float:
    """The middle of the densest half of positive values (by ratio): glows and blends spread, stars agree."""
    ordered = np.sort(values)
    half = ordered.size // 2 + 1
    ratio = ordered[half - 1 :] / ordered[: ordered.size - half + 1]
    first = int(ratio.argmin())
    return float(ordered[first + half // 2])


def _windows(
    pixels: PixelArray, x: FloatArray, y: FloatArray, stars: int, full_adu: float, width_px: float | None
) -> tuple[float, Windows]:
    """The usual width, learned from the leading `stars` places unless given, and windows that suit it."""
    width = width_px or 0.0
    windows = None
    teachers = slice(0, min(stars, _TEACHERS))
    for half in (_USUAL_HALF_PX, 3 * _USUAL_HALF_PX):
        if width_px or stars == 0:
            break
        windows = cut_windows(pixels, x, y, half)
        few = windows.select(teachers)
        width = star_width_px(few, x[teachers], y[teachers], full_adu) or width
        if 0.0 < width < 0.15 * windows.side_px:
            break
    width = width or _USUAL_WIDTH_PX
    half = int(np.ceil(_REACH * width))
    if windows is None or not half <= windows.side_px // 2 <= 2 * half:
        windows = cut_windows(pixels, x, y, min(max(half, 4), 32))
    return width, windows


def _significance(windows: Windows, m: Moments) -> FloatArray:
    """Weighted flux over its sky noise."""
    s0, _ = weight_sums(m.weight_px)
    noise = windows.noise_adu * np.sqrt(s0)
    return m.weighted_flux / np.where(noise > 0.0, noise, np.inf)


def measure(
    pixels: PixelArray, x: FloatArray, y: FloatArray, *, full_adu: float, width_px: float | None = None
) -> Measurement:
    """Measure the candidates at (x, y).

    `full_adu`: level from which a pixel counts as saturated, inf when unknown. `width_px`: the typical Gaussian
    width, pixel included, where the caller knows it.
    """
    grid_x, grid_y = blank_places(*pixels.shape)
    width, windows = _windows(pixels, np.append(x, grid_x), np.append(y, grid_y), x.size, full_adu, width_px)
    weight_px = max(width, LEAST_WEIGHT_PX)
    noise = frame_noise(windows.select(slice(x.size, None)), weight_px)
    windows = windows.select(slice(x.size))
    m = circular_moments(windows, x - windows.x0_px, y - windows.y0_px, np.full(x.size, weight_px), _STEPS)
    sources, photons = _sources(windows, m, noise, full_adu, width, PhotonNoise())
    odd = _odd(sources, width, full_adu)
    if odd.size:
        windows, m = _odd_moments(pixels, x[odd], y[odd], width)
        again, _ = _sources(windows, m, noise, full_adu, width, photons)
        sources = _replaced(sources, odd, again)
    return Measurement(sources, noise, width)


def _sources(
    windows: Windows, m: Moments, noise: FrameNoise, full_adu: float, width: float, photons: PhotonNoise
) -> tuple[Sources, PhotonNoise]:
    """The sources, and the photon noise: what is known of it, or what these stars teach where nothing is."""
    s0, s2 = weight_sums(m.weight_px)
    pixel_noise = _steadied(windows.noise_adu, noise.noise_adu)
    sky2 = (pixel_noise * noise.correlation) ** 2
    safe = np.maximum(m.weighted_flux, 1e-12)
    peak = _core_peak(windows, m)
    if photons.typical == 0.0:
        teaches = peak + windows.sky_adu < full_adu
        photons = photon_noise(windows, m, np.where(teaches, safe / np.sqrt(sky2 * s0), 0.0), width)
    per_adu = photons.per_adu(m.flux)
    light0, light2 = squared_weight_light(m)
    flux_noise = np.sqrt(sky2 * s0 + per_adu * light0)
    product = _weighted_variance(m)
    gain = m.weight_px**2 / (m.weight_px**2 - product)
    sigma = gain * np.sqrt(sky2 * s2 + per_adu * light2) / safe
    sources = Sources(
        x_px=windows.x0_px + m.x,
        y_px=windows.y0_px + m.y,
        sigma_px=np.sqrt(
            sigma**2 + FLOOR_SIGMA_PX**2 + _aliasing_variance(product) + _full_variance(windows, full_adu)
        ),
        flux_adu=m.flux,
        snr=m.weighted_flux / flux_noise,
        variance_px2=m.variance_px2,
        axis_ratio=m.axis_ratio,
        long_axis_rad=m.long_axis_rad,
        peak_adu=peak + windows.sky_adu,
        peakedness=(peak / pixel_noise) / (safe / (pixel_noise * np.sqrt(s0))),
        travel_px=m.travel_px,
    )
    return sources, photons


def _steadied(local: FloatArray, frame: float) -> FloatArray:
    """The local noise, averaged with the frame's where they agree: a rim of 100 pixels knows its noise to 7 %."""
    alike = np.abs(local - frame) < 0.25 * frame
    return np.maximum(np.where(alike, np.sqrt(local * frame), np.maximum(local, 0.6 * frame)), 1e-6)


def _aliasing_variance(product: FloatArray) -> FloatArray:
    """Centroid variance from the pixel phase, px^2: sampling aliases exp(-2 pi^2 p^2) of a profile of variance p^2,
    the `product` of star and weight (sampling theorem). The factor was fitted to simulated stars of FWHM 1.2 px."""
    return np.asarray(_ALIASING_PX**2 * np.exp(-4.0 * np.pi**2 * product), dtype=np.float64)


def _full_variance(windows: Windows, full_adu: float) -> FloatArray:
    """Centroid variance from full pixels, px^2: a little for a round full area, much for one that bleeds.

    Charge that bleeds along a line makes the full area longer than wide, and shifts the light to one side of it.
    """
    variance = np.zeros(windows.sky_adu.size)
    if not np.isfinite(full_adu):
        return variance
    full = windows.sky_free >= (full_adu - windows.sky_adu)[:, None, None].astype(np.float32)
    some = np.flatnonzero(full.any(axis=(1, 2)))
    if some.size:
        across, down = full[some].any(axis=1).sum(axis=1), full[some].any(axis=2).sum(axis=1)
        area = full[some].sum(axis=(1, 2))
        variance[some] = _FULL_SHARE**2 * area + (_BLEED_SHARE * (across - down)) ** 2
    return variance


def _weighted_variance(m: Moments) -> FloatArray:
    """Variance of the light under the weight, px^2; that of weight = star where it could not be measured."""
    w2 = m.weight_px**2
    v = np.where(m.variance_px2 > 0.0, m.variance_px2, w2)
    return np.asarray(np.minimum(v * w2 / (v + w2), 0.8 * w2), dtype=np.float64)


def _core_peak(windows: Windows, m: Moments) -> FloatArray:
    """Highest sky-free pixel within 1.5 px of the centroid, ADU."""
    count, side, _ = windows.sky_free.shape
    cx = held(np.rint(m.x).astype(np.int64), 1, side - 2)
    cy = held(np.rint(m.y).astype(np.int64), 1, side - 2)
    near = np.arange(-1, 2)
    star = np.arange(count)[:, None, None]
    core = windows.sky_free[star, cy[:, None, None] + near[:, None], cx[:, None, None] + near]
    return np.asarray(core.max(axis=(1, 2)), dtype=np.float64)


def _odd(sources: Sources, width: float, full_adu: float) -> NDArray[np.int64]:
    """Indices of the sources that a round weight of the usual width does not fit."""
    fits = (sources.axis_ratio < _ODD_AXIS_RATIO) & (sources.variance_px2 < 2.0 * width**2)
    odd = (~fits & (sources.snr > 12.0) & (sources.peakedness < 1.2)) | (sources.peak_adu >= full_adu)
    return np.flatnonzero(odd)[:_MOST_ODD]


def _odd_moments(pixels: PixelArray, x: FloatArray, y: FloatArray, width: float) -> tuple[Windows, Moments]:
    half = int(np.clip(np.ceil(9.0 * width), 12, 40))
    windows = cut_windows(pixels, x, y, half)
    return windows, elliptical_moments(windows, x - windows.x0_px, y - windows.y0_px, 1.5 * width)


def _replaced(sources: Sources, at: NDArray[np.int64], other: Sources) -> Sources:
    columns = []
    for f in fields(Sources):
        column = getattr(sources, f.name).copy()
        column[at] = getattr(other, f.name)
        columns.append(column)
    return Sources(*columns)
