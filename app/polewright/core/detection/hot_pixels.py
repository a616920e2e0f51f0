"""Pixels that shine in every frame: learned only while the sky moves, because a hot pixel stays put."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import PixelArray


@dataclass(frozen=True, eq=False)
class HotPixelMask:
    """Known hot pixels of one camera: `hot` (H, W) bool."""

    hot: NDArray[np.bool_]

    def mended(self, pixels: PixelArray) -> PixelArray:
        """A copy with every hot pixel replaced by the median of its good neighbours; `pixels` itself when none is hot
        or the mask belongs to another frame size."""
        if self.hot.shape != pixels.shape or not self.hot.any():
            return pixels
        height, width = pixels.shape
        y, x = np.nonzero(self.hot)
        near = [(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if (dy, dx) != (0, 0)]
        ny = np.stack([np.clip(y + dy, 0, height - 1) for dy, _ in near])
        nx = np.stack([np.clip(x + dx, 0, width - 1) for _, dx in near])
        values = np.where(self.hot[ny, nx], np.nan, pixels[ny, nx].astype(np.float64))
        lonely = np.isnan(values).all(axis=0)
        values[:, lonely] = float(np.median(pixels))
        mended = pixels.copy()
        mended[y, x] = np.nanmedian(values, axis=0).astype(pixels.dtype)
        return mended
