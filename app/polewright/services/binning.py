"""Large frames made smaller by the means of n x n pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import PixelArray


def binned(pixels: PixelArray, most_pixels: int) -> tuple[NDArray[np.float32], int]:
    """Means of n x n pixels, the least n that leaves `most_pixels` at most, and n; what is over at the ends is left
    out."""
    n = max(1, int(np.ceil(np.sqrt(pixels.size / most_pixels))))
    height, width = (side // n for side in pixels.shape)
    image = np.zeros((height, width), dtype=np.float32)
    for row in range(n):
        for column in range(n):
            image += pixels[row : n * height : n, column : n * width : n]
    image /= np.float32(n * n)
    return image, n
