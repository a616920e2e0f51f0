"""A star list by local noise, for frames that defeat the ordinary passes: trees, horizons, aurora, thousands of hot
pixels, plates.

What stands out is judged by the spread of the pixels about it, not by that of the frame, and its shape is not asked:
neither branches nor hot pixels can then set the star width, or turn sharp stars into hot pixels. Large frames are
binned first, which also gathers the light of wide stars.

It runs in the program's own process, not in the helper (services/contained): numpy and the filters of scipy alone, a
fixed number of passes over at most 2.5 million numbers, whatever they are. Nothing is parsed, grouped or deblended,
so no pixels can make it loop, abort, or ask for more memory than an honest frame.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray, Frame, IntArray, PixelArray, StarList
from polewright.services.binning import binned

Image = NDArray[np.float32]

_MOST_PIXELS = 2_500_000  # searched; larger pictures are binned first (bound of time: refusals within 2 s)
_BLOCK_PX = 24  # of local sky and noise: smaller than leaves and clouds, larger than stars
_WIDTH_PX = 1.2  # Gaussian, of the matched filter
_LEAST_SNR = 4.5  # as the careful pass, a little stricter among leaves (chosen)
_MOST_STARS = 200  # as many as the solver uses
_APART_PX, _EDGE_PX = 5, 3  # of binned pixels: one star one peak, and no peak without its surroundings
_LEAST_SIGMA_PX = 0.15  # of a place taken from binned pixels (chosen)
_LOW, _HIGH, _HIGH_SIGMAS = 0.1587, 0.95, 1.645  # parts of the pixels that tell the spread, below and above
_LEAST_SHARE = 0.2  # of the usual spread; a sky cut off at zero has none
# a pixel that towers over its neighbours (these taken as so high at least) is brought down to this
_SPIKE, _SPIKE_SIGMAS, _BESIDE_SIGMAS = 4.5, 5.0, 1.5


def local_list(frame: Frame, pixels: PixelArray) -> StarList:
    """The most significant places of `pixels` (those of the frame, mended), the most significant first."""
    image, side = binned(pixels, _MOST_PIXELS)
    flat, noise = _flattened(image)
    x, y, snr = _peaks(flat, noise)
    noise_adu = float(np.median(noise[::7, ::7]))
    return StarList(
        width_px=frame.width_px,
        height_px=frame.height_px,
        x_px=side * x + 0.5 * (side - 1),
        y_px=side * y + 0.5 * (side - 1),
        sigma_px=side * np.hypot(_LEAST_SIGMA_PX, _WIDTH_PX / snr),
        flux_adu=snr * noise_adu,
        snr=snr,
        fwhm_px=np.full(x.size, 2.3548 * _WIDTH_PX * side),
        flags=np.zeros(x.size, dtype=np.int64),
        background_adu=float(np.median(image[::7, ::7])),
        noise_adu=noise_adu,
    )


def _flattened(image: Image) -> tuple[Image, Image]:
    """The image less its local median, and its local spread at every pixel."""
    from scipy import ndimage

    level, spread = _of_blocks(image)
    usual = float(np.median(spread))
    spread = np.maximum(spread, _LEAST_SHARE * usual if usual > 0.0 else 1.0)
    # the larger of its own and its neighbours' middle: a quiet block beside a tree is no licence for twigs
    spread = np.maximum(ndimage.median_filter(spread, 3), spread)
    return image - _spread_out(ndimage.median_filter(level, 3), image.shape), _spread_out(spread, image.shape)


def _of_blocks(image: Image) -> tuple[Image, Image]:
    """Median and spread of every block, the spread by its lower side or its brighter pixels, whichever is wider."""
    rows, columns = (max(1, side // _BLOCK_PX) for side in image.shape)
    high, wide = image.shape[0] // rows, image.shape[1] // columns
    core = image[: rows * high, : columns * wide].reshape(rows, high, columns, wide).swapaxes(1, 2)
    blocks = np.sort(core.reshape(rows, columns, -1), axis=2)
    n = blocks.shape[2]
    level = blocks[..., n // 2]
    above = (blocks[..., int(_HIGH * n)] - level) / np.float32(_HIGH_SIGMAS)
    return level, np.maximum(level - blocks[..., int(_LOW * n)], above)


def _spread_out(blocks: Image, shape: tuple[int, ...]) -> Image:
    """Values of blocks, (rows, columns), interpolated linearly to every pixel."""
    down, part_down = _between(shape[0], blocks.shape[0])
    across, part_across = _between(shape[1], blocks.shape[1])
    rows = (
        blocks[down] * (1 - part_down)[:, None] + blocks[np.minimum(down + 1, len(blocks) - 1)] * part_down[:, None]
    )
    right = np.minimum(across + 1, blocks.shape[1] - 1)
    return np.asarray(rows[:, across] * (1 - part_across) + rows[:, right] * part_across, dtype=np.float32)


def _between(pixels: int, blocks: int) -> tuple[IntArray, NDArray[np.float32]]:
    """For every pixel of a side the block before it, and how far it is on the way to the next (0 to 1)."""
    at = np.clip((np.arange(pixels) + 0.5) * blocks / pixels - 0.5, 0.0, blocks - 1)
    before = at.astype(np.int64)
    return before, (at - before).astype(np.float32)


def _peaks(flat: Image, noise: Image) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places (x, y) and significance of the peaks under the matched filter, the most significant first."""
    from scipy import ndimage

    ring = np.ones((3, 3), dtype=bool)
    ring[1, 1] = False
    beside = np.maximum(ndimage.maximum_filter(flat, footprint=ring), np.float32(_BESIDE_SIGMAS) * noise)
    mended = np.minimum(flat, beside * np.float32(_SPIKE) + np.float32(_SPIKE_SIGMAS) * noise)
    light = ndimage.gaussian_filter(mended, _WIDTH_PX, truncate=3.0)
    smooth = light / noise
    grain = 1.4826 * float(np.median(np.abs(smooth[::3, ::3])))
    smooth /= np.float32(grain if grain > 0.0 else 1.0)
    top = (smooth > _LEAST_SNR) & (smooth == ndimage.maximum_filter(smooth, _APART_PX))
    top[:_EDGE_PX], top[-_EDGE_PX:], top[:, :_EDGE_PX], top[:, -_EDGE_PX:] = False, False, False, False
    y, x = np.nonzero(top)
    order = np.argsort(-smooth[y, x], kind="stable")[:_MOST_STARS]
    y, x = y[order], x[order]
    peak = light[y, x]  # without the noise, whose slope beside a bright star would pull it aside
    return (
        x + _vertex(light[y, x - 1], peak, light[y, x + 1]),
        y + _vertex(light[y - 1, x], peak, light[y + 1, x]),
        smooth[y, x].astype(np.float64),
    )


def _vertex(before: Image, peak: Image, after: Image) -> FloatArray:
    """Where a parabola through the logarithms of three pixels is highest, from the middle one (exact: Gaussian)."""
    a, b, c = (np.log(np.maximum(v, 0.1 * peak)).astype(np.float64) for v in (before, peak, after))
    return np.asarray(np.clip(0.5 * (a - c) / np.minimum(a - 2.0 * b + c, -1e-3), -0.6, 0.6))
