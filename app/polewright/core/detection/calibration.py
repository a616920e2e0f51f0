"""Noise as the frame itself shows it: blank windows measured like stars, photon noise from the stars' residuals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.detection.moments import Moments, model
from polewright.core.detection.windows import Windows, cut_windows, largest_half_px
from polewright.core.model import FloatArray, PixelArray

_MAD_TO_SIGMA = 1.4826
_BLANKS_X, _BLANKS_Y = 12, 9
_QUIET_SIGMA = 5.0  # a window with a brighter pixel holds a star
_LEAST_QUIET = 24
_INDEPENDENT = 1.25  # a ratio up to this is what chance alone gives with 108 windows


@dataclass(frozen=True)
class FrameNoise:
    """`sky_adu`, `noise_adu`: typical level and pixel noise. `correlation`: how much more the noise under the weight
    varies than that of independent pixels would (walking noise, interpolated colour, JPEG): 1 when independent."""

    sky_adu: float
    noise_adu: float
    correlation: float


def frame_noise(pixels: PixelArray, weight_px: float, half_px: int) -> FrameNoise:
    """Weigh windows on a regular grid, most of them blank sky, with the weight used for the stars."""
    half = largest_half_px(pixels, half_px)
    height, width = pixels.shape
    x, y = np.meshgrid(
        np.linspace(half, width - 1 - half, _BLANKS_X), np.linspace(half, height - 1 - half, _BLANKS_Y)
    )
    windows = cut_windows(pixels, x.ravel(), y.ravel(), half)
    sky, noise = float(np.median(windows.sky_adu)), float(np.median(windows.noise_adu))
    quiet = windows.sky_free.max(axis=(1, 2)) < _QUIET_SIGMA * noise
    if quiet.sum() < _LEAST_QUIET:
        return FrameNoise(sky, noise, 1.0)
    g = np.exp(-0.5 * (np.arange(-half, half + 1) / weight_px) ** 2)
    weight = np.outer(g, g).astype(np.float32).ravel()
    independent = windows.noise_adu[quiet] * float(np.sqrt((weight * weight).sum()))
    ratio = (windows.sky_free.reshape(-1, weight.size) @ weight)[quiet] / independent
    ratio = ratio[np.abs(ratio) < 3.5 * _MAD_TO_SIGMA * np.median(np.abs(ratio))]
    spread = float(ratio.std()) if ratio.size else 1.0
    return FrameNoise(sky, noise, spread if spread > _INDEPENDENT else 1.0)


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
