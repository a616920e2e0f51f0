"""One luminance plane from whatever the file holds, with the places of the stars untouched, and its full value."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import PixelArray
from polewright.services.frame_reader.facts import DamagedError, Raster
from polewright.words import files

BAND_ROWS = 32  # of 6,000 pixels of 16 bits: 0.4 MB, within the cache of a core
SAMPLES = 96  # along each axis, for the background of a mosaic phase: good to 2 % of its noise
HOT_OVER_NOISE = 12.0  # clear of any noise; fainter ones do no harm (chosen)
HOT_NEIGHBOUR_FRACTION = 0.08
CEILINGS_ANY = (65472, 65520, 65532)  # full 10, 12 and 14-bit values shifted to the top of 16 bits
CEILINGS_MANY = (1023, 4095, 16383)  # full 10, 12 and 14-bit values as they are
ENOUGH = 3  # pixels on the ceiling: one alone may be chance
NEIGHBOURS = [(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if (dy, dx) != (0, 0)]


def luminance(raster: Raster) -> tuple[PixelArray, tuple[str, ...]]:
    """Read-only (height, width) luminance, and warnings.

    uint8 and uint16 stay as they are (a signed 16-bit image without negative values becomes uint16), everything
    else becomes float32. Colour planes are averaged with equal weight: the sum has the best signal for stars, and
    no weight can be right for every sensor. Colour mosaics are smoothed, see `smooth_mosaic`.
    """
    samples = raster.samples
    if samples.dtype.kind not in "uif":
        raise DamagedError(f"its pixels are of a kind ({samples.dtype}) that does not measure brightness")
    if samples.ndim == 3:
        samples = _average(samples)
    pixels = working_depth(samples)
    warnings: tuple[str, ...] = ()
    if pixels.dtype == np.float32:
        pixels, warnings = fill_holes(pixels)
    if raster.mosaic:
        pixels = smooth_mosaic(pixels)
    pixels = np.ascontiguousarray(pixels)
    pixels.setflags(write=False)
    return pixels, warnings


def working_depth(samples: NDArray[Any]) -> Any:
    """`samples` as uint8 or uint16 where nothing is lost, else float32; native byte order."""
    if samples.dtype in (np.uint8, np.uint16):
        return samples
    if samples.dtype == np.int16 and int(samples.min()) >= 0:
        return samples.view(np.uint16)
    if samples.dtype.kind in "ui" and int(samples.min()) >= 0 and int(samples.max()) <= 65535:
        return samples.astype(np.uint16)
    if samples.dtype == np.float64:
        return np.clip(samples, -3e38, 3e38).astype(np.float32)  # NaN stays NaN
    return samples.astype(np.float32, copy=False)


def _average(planes: NDArray[Any]) -> NDArray[Any]:
    """The mean of three colour planes; a grey picture saved as colour keeps its depth."""
    red, green, blue = planes
    if planes.dtype.kind in "ui" and np.array_equal(red, green) and np.array_equal(green, blue):
        return np.asarray(green)
    total = red.astype(np.float32) + green.astype(np.float32) + blue.astype(np.float32)
    return np.asarray(total / np.float32(3.0))


def fill_holes(pixels: NDArray[np.float32]) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """NaN and infinite pixels replaced by the median of the others, with a warning; DamagedError if no others."""
    good = np.isfinite(pixels)
    if good.all():
        return pixels, ()
    if not good.any():
        raise DamagedError("none of its pixels is a number")
    filled = np.where(good, pixels, np.float32(np.median(pixels[good])))
    count = int(pixels.size - np.count_nonzero(good))
    return filled.astype(np.float32), (files.pixels_mended(count),)


def smooth_mosaic(pixels: NDArray[Any]) -> NDArray[np.float32]:
    """A colour filter mosaic as luminance, float32, of the same size and geometry.

    The kernel (1 2 1) x (1 2 1) / 16 is the 2 x 2 average taken twice: wherever its centre lies it gives each of the
    four mosaic phases a weight of 4/16, so that the chequerboard vanishes whatever the filter order, and being
    symmetric it moves no centroid. It widens stars by 0.5 px^2 of variance along each axis. Hot pixels are taken
    out first, because afterwards they would look like small stars.
    """
    mosaic = remove_hot_photosites(pixels.astype(np.float32))
    height, width = mosaic.shape
    smooth = np.empty_like(mosaic)
    for top in range(0, height, BAND_ROWS):  # in bands that stay in the processor's cache
        bottom = min(top + BAND_ROWS, height)
        rows = np.arange(top - 1, bottom + 1)
        rows[0], rows[-1] = abs(rows[0]), height - 2 if rows[-1] == height else rows[-1]  # reflected: phases are kept
        band = np.empty((bottom - top + 2, width + 2), np.float32)
        band[:, 1:-1] = mosaic[rows]
        band[:, 0], band[:, -1] = band[:, 2], band[:, -3]
        pairs = band[:-1] + band[1:]
        fours = pairs[:-1] + pairs[1:]
        pairs = fours[:, :-1] + fours[:, 1:]
        np.add(pairs[:, :-1], pairs[:, 1:], out=smooth[top:bottom])
    smooth *= np.float32(1.0 / 16.0)
    return smooth


def remove_hot_photosites(mosaic: NDArray[np.float32]) -> NDArray[np.float32]:
    """Single bright photosites replaced by their phase's background.

    Hot is what stands HOT_OVER_NOISE above the background of its phase while none of its eight neighbours reaches
    HOT_NEIGHBOUR_FRACTION of that above its own: a star of 1.5 px width puts 0.29 of its peak into each of the four
    nearest neighbours, of which a third passes the least favourable filter.
    """
    background = np.empty((2, 2), np.float32)
    rows, columns = [], []
    for row, column in np.ndindex(2, 2):
        phase = mosaic[row::2, column::2]
        sample = phase[:: max(1, phase.shape[0] // SAMPLES), :: max(1, phase.shape[1] // SAMPLES)]
        level = np.median(sample)
        noise = 1.4826 * np.median(np.abs(sample - level))
        background[row, column] = level
        i, j = np.divmod(np.flatnonzero(phase > level + HOT_OVER_NOISE * noise), phase.shape[1])
        rows.append(2 * i + row)
        columns.append(2 * j + column)
    y, x = np.concatenate(rows), np.concatenate(columns)
    inside = (y > 0) & (x > 0) & (y < mosaic.shape[0] - 1) & (x < mosaic.shape[1] - 1)
    y, x = y[inside], x[inside]
    excess = mosaic[y, x] - background[y % 2, x % 2]
    hot = np.ones(y.size, bool)
    for dy, dx in NEIGHBOURS:
        around = mosaic[y + dy, x + dx] - background[(y + dy) % 2, (x + dx) % 2]
        hot &= around < HOT_NEIGHBOUR_FRACTION * excess
    y, x = y[hot], x[hot]
    mosaic[y, x] = background[y % 2, x % 2]
    return mosaic


def saturation_adu(pixels: PixelArray, full_adu: float | None, stated_adu: float | None) -> float | None:
    """The smallest value that is full.

    `full_adu` is what the format can hold, `stated_adu` what the header says. A stated value counts only if pixels
    do not go beyond it, and if it is more than a record of this frame's brightest pixel. Sensors with fewer bits
    than the file show by pixels piled up at 2^n - 1.
    """
    top = float(pixels.max())
    if stated_adu is not None and (stated_adu > top or (stated_adu == top and _count(pixels, top) >= ENOUGH)):
        return min(stated_adu, full_adu) if full_adu is not None else stated_adu
    if full_adu is None:
        return 1.0 if top == 1.0 and pixels.dtype == np.float32 else None
    is_ceiling = top in CEILINGS_ANY or (top in CEILINGS_MANY and _count(pixels, top) >= ENOUGH)
    return top if is_ceiling and pixels.dtype == np.uint16 else full_adu


def _count(pixels: PixelArray, value: float) -> int:
    return int(np.count_nonzero(pixels == pixels.dtype.type(value)))
