"""The quick pass over an ordinary frame.

Sums of 2 x 2 pixels lift a faint star above the noise of one pixel and cost a third of a pass; tetra3rs then groups
the lit ones. Measured on 1280 x 960 (one thread): 0.3 + 0.7 ms, a SNR 10 star of 3 px seen in 0.99 of the cases,
against 1.8 ms and 0.55 on the frame itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.peaks import split_large
from polewright.core.model import FloatArray, PixelArray

_THRESHOLD = 4.5
_MESH_PX = 32  # of the halved frame
_MOST_CANDIDATES = 1200


def halved(pixels: PixelArray, highest: float) -> NDArray[np.uint16] | NDArray[np.float32]:
    """Sums of 2 x 2 pixels, (H // 2, W // 2), without overflow; an odd last row or column is left out.

    `highest`: the largest pixel value.
    """
    height, width = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
    small = pixels.dtype == np.uint8 or (pixels.dtype == np.uint16 and highest < 2**14)
    kind = np.uint16 if small else np.float32
    rows = np.add(pixels[:height:2, :width], pixels[1:height:2, :width], dtype=kind)
    return rows[:, ::2] + rows[:, 1::2]


def quick_candidates(pixels: PixelArray, highest: float) -> tuple[FloatArray, FloatArray]:
    """Rough places (x, y) of what stands out, brightest first, in pixels of the whole frame."""
    import tetra3rs

    small = halved(pixels, highest)
    found = tetra3rs.extract_centroids_fast(
        small,
        sigma_threshold=_THRESHOLD,
        bg_grid=_MESH_PX,
        min_pixels=1,
        max_centroids=_MOST_CANDIDATES,
        max_sharpness=None,
        threads=1,
    ).centroids
    places = np.array([(c.x, c.y) for c in found], dtype=np.float64).reshape(-1, 2)
    spread = np.array([c.cov for c in found], dtype=np.float64).reshape(-1, 2, 2)
    height, width = small.shape
    x, y = 2.0 * places[:, 0] + width - 0.5, 2.0 * places[:, 1] + height - 0.5
    middle = 0.5 * (spread[:, 0, 0] + spread[:, 1, 1])
    longest = middle + np.hypot(0.5 * (spread[:, 0, 0] - spread[:, 1, 1]), spread[:, 0, 1])
    return split_large(pixels, x, y, 2.0 * np.sqrt(np.maximum(longest, 0.0)))
