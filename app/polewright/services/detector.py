"""Frame -> StarList: a fast pass for ordinary frames, a careful one when stars are few or the frame is difficult.

Both passes only propose candidates; every candidate is then measured and judged by core/detection. The fast pass
halves the frame (2 x 2 sums lift a faint star above the noise of one pixel and cost a third of a pass) and lets
tetra3rs group the lit pixels.
"""

from __future__ import annotations

import numpy as np

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.detection.measure import Measurement, measure
from polewright.core.detection.moments import FWHM_PER_SIGMA, PIXEL_VARIANCE
from polewright.core.detection.selection import Selection, select
from polewright.core.detection.verdict import FrameFacts, judge
from polewright.core.model import FloatArray, Frame, PixelArray, StarList

MOST_STARS = 400
_ENOUGH_STARS = 30
_FAST_THRESHOLD = 4.5
_LEAST_SNR = 4.5


class Detector:
    """Finds and measures the stars of a frame. Holds no state: one instance serves any number of threads."""

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        """The stars of `frame`, brightest first; a poor or empty list carries reason and cure."""
        pixels = finite(frame.pixels)
        if hot_pixels is not None:
            pixels = hot_pixels.mended(pixels)
        full = full_level(pixels, frame.saturation_adu)
        x, y = fast_candidates(pixels)
        measurement = measure(pixels, x, y, full_adu=full)
        found = select(measurement, pixels.shape, full_adu=full, least_snr=_LEAST_SNR, limit=MOST_STARS)
        return _star_list(frame, pixels, full, measurement, found)


def finite(pixels: PixelArray) -> PixelArray:
    """The pixels with NaN and infinities replaced by the median of the rest (0 when nothing is left)."""
    if pixels.dtype.kind != "f":
        return pixels
    good = np.isfinite(pixels)
    if good.all():
        return pixels
    level = float(np.median(pixels[good])) if good.any() else 0.0
    return np.where(good, pixels, np.float32(level)).astype(np.float32)


def full_level(pixels: PixelArray, stated_adu: float | None) -> float:
    """Level from which a pixel counts as full, ADU; inf when nothing in the frame looks full.

    Unless the frame states it, the highest value is the level when several pixels share it and it is a full scale
    of a converter (2^n - 1 and its usual left-shifted forms) or of the file format.
    """
    if stated_adu is not None:
        return 0.98 * stated_adu
    top = float(pixels.max())
    if pixels.dtype.kind == "f" or top < 200.0:
        return np.inf
    scales = [float(2**bits - 1) for bits in range(8, 17)] + [65535.0 - (2**shift - 1) for shift in range(1, 7)]
    return 0.98 * top if any(0.99 * scale <= top <= scale for scale in scales) else np.inf


def halved(pixels: PixelArray) -> PixelArray:
    """Sums of 2 x 2 pixels, (H // 2, W // 2), in a type that cannot overflow."""
    height, width = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
    small = pixels.dtype == np.uint8 or (pixels.dtype == np.uint16 and int(pixels.max()) < 2**14)
    kind = np.uint16 if small else np.float32
    rows = np.add(pixels[:height:2, :width], pixels[1:height:2, :width], dtype=kind)
    return rows[:, ::2] + rows[:, 1::2]


def fast_candidates(pixels: PixelArray) -> tuple[FloatArray, FloatArray]:
    """Rough places (x, y) of what stands out, brightest first, full-frame pixels."""
    import tetra3rs

    small = halved(pixels)
    found = tetra3rs.extract_centroids_fast(
        small, sigma_threshold=_FAST_THRESHOLD, bg_grid=32, min_pixels=1, max_sharpness=None, threads=1
    ).centroids
    x = np.array([c.x for c in found], dtype=np.float64)
    y = np.array([c.y for c in found], dtype=np.float64)
    height, width = small.shape
    return 2.0 * (x + 0.5 * (width - 1)) + 0.5, 2.0 * (y + 0.5 * (height - 1)) + 0.5


def _star_list(frame: Frame, pixels: PixelArray, full: float, measurement: Measurement, found: Selection) -> StarList:
    stars = found.stars
    usual = FWHM_PER_SIGMA * np.sqrt(max(measurement.width_px**2 - PIXEL_VARIANCE, 0.05))
    reason, cure = judge(FrameFacts.of(pixels, full, frame.exposure_s, found, usual))
    return StarList(
        width_px=frame.width_px,
        height_px=frame.height_px,
        x_px=stars.x_px,
        y_px=stars.y_px,
        sigma_px=stars.sigma_px,
        flux_adu=stars.flux_adu,
        snr=stars.snr,
        fwhm_px=found.fwhm_px,
        flags=found.flags,
        background_adu=measurement.noise.sky_adu,
        noise_adu=measurement.noise.noise_adu,
        rejected=found.rejected,
        reason=reason,
        cure=cure,
    )
