"""The quick pass over an ordinary frame.

Sums of 2 x 2 pixels lift a faint star above the noise of one pixel and cost a third of a pass; tetra3rs then groups
the lit ones. Measured on 1280 x 960 (one thread): 0.3 + 0.7 ms, a SNR 10 star of 3 px seen in 0.99 of the cases,
against 1.8 ms and 0.55 on the frame itself.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.peaks import split_large
from polewright.core.detection.windows import middle
from polewright.core.model import FloatArray, PixelArray

Halved = NDArray[np.uint16] | NDArray[np.float32]

_THRESHOLD = 4.5  # sigmas of the extraction; measuring sorts out what noise adds (chosen)
_MESH_PX = 48  # of the halved frame
_BLOCK_PX = 16  # of the sky level, halved pixels
_STEEP = 1.4  # a sky of gradients spreads so much more than its grain (chosen)
_FEW = 60  # candidates with which a hidden gradient is looked for
_LARGE, _BAND_ROWS = 4_000_000, 32  # pixels from which halving goes band by band, within the cache of a core
MOST_CANDIDATES = 1200  # the extraction gives (bound of time)


def halved(pixels: PixelArray, highest: float) -> Halved:
    """Sums of 2 x 2 pixels, (H // 2, W // 2), without overflow; an odd last row or column is left out.

    `highest`: the largest pixel value.
    """
    height, width = pixels.shape[0] // 2 * 2, pixels.shape[1] // 2 * 2
    small = pixels.dtype == np.uint8 or (pixels.dtype == np.uint16 and highest < 2**14)
    shape = (height // 2, width // 2)
    sums: Halved = np.empty(shape, np.uint16) if small else np.empty(shape, np.float32)
    band = height if pixels.size < _LARGE else _BAND_ROWS  # what stays in the cache of the processor
    for top in range(0, height, band):
        rows = pixels[top : min(top + band, height), :width]
        into = sums[top // 2 : top // 2 + len(rows) // 2]
        if small:  # two neighbours in one word: their sum lands in its lower half, in half the time
            words = np.ascontiguousarray(rows, dtype=np.uint16).view(np.uint32)
            both = words[::2] + words[1::2]
            both += both >> np.uint32(16)
            into[:] = both
        else:
            pairs = np.add(rows[::2], rows[1::2], dtype=np.float32)
            np.add(pairs[:, ::2], pairs[:, 1::2], out=into)
    return sums


def quick_candidates(pixels: PixelArray, highest: float) -> tuple[FloatArray, FloatArray]:
    """Rough places (x, y) of what stands out, brightest first, in pixels of the whole frame."""
    small = halved(pixels, highest)
    found = _extracted(small)
    few = len(found.centroids) < _FEW
    if few and found.background_sigma > _STEEP * _grain(small):  # a gradient hides the noise from the extraction
        found = _extracted(levelled(small))
    # (N, 2, 2) from the bytes of the small arrays: a third of the time that array() takes
    spread = np.frombuffer(b"".join([c.cov for c in found.centroids]), dtype=np.float64).reshape(-1, 2, 2)
    height, width = small.shape
    x = 2.0 * np.array([c.x for c in found.centroids], dtype=np.float64) + (width - 0.5)
    y = 2.0 * np.array([c.y for c in found.centroids], dtype=np.float64) + (height - 0.5)
    mean = 0.5 * (spread[:, 0, 0] + spread[:, 1, 1])
    half = np.hypot(0.5 * (spread[:, 0, 0] - spread[:, 1, 1]), spread[:, 0, 1])
    longest, shortest = np.sqrt(np.maximum(mean + half, 0.0)), np.sqrt(np.maximum(mean - half, 0.05))
    return split_large(pixels, x, y, 2.0 * longest, longest / shortest)


def _extracted(small: Halved) -> Any:
    import tetra3rs

    return tetra3rs.extract_centroids_fast(
        small,
        sigma_threshold=_THRESHOLD,
        bg_grid=_MESH_PX,
        min_pixels=1,
        max_centroids=MOST_CANDIDATES,
        max_sharpness=None,
        threads=1,
    )


def _grain(small: Halved) -> float:
    """The noise of a pixel from the differences of neighbours, which no gradient reaches."""
    rows = small[:: max(1, small.shape[0] // 32)].astype(np.float32)
    return float(1.4826 / np.sqrt(2.0)) * middle(np.abs(np.diff(rows, axis=1)).ravel())


def levelled(small: Halved) -> NDArray[np.float32]:
    """The halved frame less the medians of its 16 x 16 blocks, interpolated linearly."""
    rows, columns = (max(1, n // _BLOCK_PX) for n in small.shape)
    core = small[: rows * _BLOCK_PX, : columns * _BLOCK_PX][::2, ::2]
    blocks = core.reshape(rows, _BLOCK_PX // 2, columns, _BLOCK_PX // 2).swapaxes(1, 2).reshape(rows, columns, -1)
    levels = np.sort(blocks, axis=2)[:, :, blocks.shape[2] // 2].astype(np.float32)
    down, across = _linear(small.shape[0], rows), _linear(small.shape[1], columns)
    return np.asarray(small - down @ levels @ across.T, dtype=np.float32)


def _linear(length: int, blocks: int) -> NDArray[np.float32]:
    """Linear interpolation and extrapolation from the middles of the blocks to every pixel: (length, blocks)."""
    weights = np.zeros((length, blocks), dtype=np.float32)
    if blocks == 1:
        weights[:] = 1.0
        return weights
    at = (np.arange(length) + 0.5) / _BLOCK_PX - 0.5
    first = np.clip(np.floor(at).astype(np.int64), 0, blocks - 2)
    pixel = np.arange(length)
    weights[pixel, first] = 1.0 - (at - first)
    weights[pixel, first + 1] = at - first
    return weights
