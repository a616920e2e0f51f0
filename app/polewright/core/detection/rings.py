"""Far out of focus, a star is the ring of the telescope's aperture: bright rim, dark middle."""

from __future__ import annotations

import numpy as np

from polewright.core.detection.windows import cut_windows
from polewright.core.model import FloatArray, PixelArray

_LEAST_WIDTH_PX = 2.5  # Gaussian width; a narrower ring has no middle pixel of its own
_MOST = 24  # brightest sources that are looked at: enough for a share (chosen)
_WIDEST_PX = 8.0  # Gaussian width up to which every pixel is looked at; of wider sources one in several (chosen)
_HOLLOW = 0.8  # the middle of a ring is at most this fraction of its rim; of a star it is more than 1


def count_rings(pixels: PixelArray, x: FloatArray, y: FloatArray, width_px: float) -> int:
    """How many of the brightest sources are hollow; 0 for stars narrower than a ring can be (Gaussian `width_px`)."""
    if width_px < _LEAST_WIDTH_PX or x.size == 0:
        return 0
    step = int(np.ceil(width_px / _WIDEST_PX))
    pixels, x, y, width_px = pixels[::step, ::step], x[:_MOST] / step, y[:_MOST] / step, width_px / step
    windows = cut_windows(pixels, x, y, int(np.ceil(3.5 * width_px)))
    column = np.arange(windows.side_px)
    dx = column - (x - windows.x0_px)[:, None]
    dy = column - (y - windows.y0_px)[:, None]
    radius = np.hypot(dx[:, None, :], dy[:, :, None])
    middle = radius < 0.4 * width_px
    rim = np.abs(radius - 1.3 * width_px) < 0.35 * width_px
    in_middle = (windows.sky_free * middle).sum(axis=(1, 2)) / np.maximum(middle.sum(axis=(1, 2)), 1)
    in_rim = (windows.sky_free * rim).sum(axis=(1, 2)) / np.maximum(rim.sum(axis=(1, 2)), 1)
    doubt = 3.0 * windows.noise_adu / np.sqrt(np.maximum(middle.sum(axis=(1, 2)), 1))
    return int((in_middle + doubt < _HOLLOW * in_rim).sum())
