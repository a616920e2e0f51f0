"""From which value on a pixel counts as full."""

from __future__ import annotations

import numpy as np

from polewright.core.model import PixelArray

CEILINGS_ANY = (65472, 65520, 65532)  # full 10, 12 and 14-bit values shifted to the top of 16 bits
CEILINGS_MANY = (1023, 4095, 16383)  # full 10, 12 and 14-bit values as they are
ENOUGH = 3  # pixels on the ceiling: one alone may be chance


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
