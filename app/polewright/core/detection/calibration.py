"""Noise as the frame itself shows it: blank windows measured like stars, photon noise from the stars' residuals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.detection.moments import Moments, circular_moments, model, weight_sums
from polewright.core.detection.windows import Windows, cut_windows, largest_half_px
from polewright.core.model import FloatArray, PixelArray

_MAD_TO_SIGMA = 1.4826
_BLANKS_X, _BLANKS_Y = 16, 12
_INDEPENDENT = 1.15  # a ratio up to this is what chance alone gives with 192 windows


@dataclass(frozen=True)
class FrameNoise:
    """`sky_adu`, `noise_adu`: typical level and pixel noise. `correlation`: how much more the noise under the weight
    varies than that of independent pixels would (walking noise, interpolated colour, JPEG): 1 when independent."""

    sky_adu: float
    noise_adu: float
    correlation: float


def frame_noise(pixels: PixelArray, weight_px: float, half_px: int) -> FrameNoise:
    """Measure windows on a regular grid, most of them blank sky, with the weight used for the stars."""
    half = largest_half_px(pixels, half_px)
    height, width = pixels.shape
    gx, gy = np.meshgrid(
        np.linspace(half, width - 1 - half, _BLANKS_X), np.linspace(half, height - 1 - half, _BLANKS_Y)
    )
    windows = cut_windows(pixels, gx.ravel(), gy.ravel(), half)
    centre = np.full(gx.size, float(half))
    blank = circular_moments(windows, centre, centre, np.full(gx.size, weight_px), 0, keep_negative=True)
    s0, _ = weight_sums(blank, windows.side_px)
    independent = windows.noise_adu * np.sqrt(s0)
    ratio = blank.weighted_flux / np.where(independent > 0.0, independent, np.inf)
    spread = _MAD_TO_SIGMA * float(np.median(np.abs(ratio - np.median(ratio))))
    noise = float(np.median(windows.noise_adu))
    return FrameNoise(float(np.median(windows.sky_adu)), noise, spread if spread > _INDEPENDENT else 1.0)


def photon_noise(windows: Windows, m: Moments, snr: FloatArray) -> float:
    """Noise variance per ADU of star light (1 / gain when the stars are Gaussian, more when they are not), >= 0.

    The median over the well measured stars of (residual^2 - sky noise^2) / star light under the weight.
    """
    bright = np.flatnonzero((snr > 30.0) & np.isfinite(m.variance_px2))[:40]
    if bright.size == 0:
        return 0.0
    keep = np.zeros(snr.size, dtype=bool)
    keep[bright] = True
    some, moments = windows.select(keep), m.select(keep)
    light = model(moments, some.side_px)
    excess = (some.sky_free - light) ** 2 - (some.noise_adu[:, None, None] ** 2).astype(np.float32)
    per_star = (excess * light).sum(axis=(1, 2)) / np.maximum((light * light).sum(axis=(1, 2)), 1e-12)
    return max(0.0, float(np.median(per_star)))
