"""Sums of 2 x 2 pixels, in whatever type and size a frame comes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import DTypeLike

from polewright.services.quick_pass import halved

HIGHEST = ((np.uint8, 255), (np.uint16, 2**14 - 1), (np.uint16, 2**14), (np.uint16, 2**16 - 1), (np.float32, 4000))


@pytest.mark.parametrize("shape", [(64, 96), (65, 97), (33, 40), (2001, 2101)])
@pytest.mark.parametrize(("kind", "highest"), HIGHEST)
def test_every_pixel_is_summed_once(shape: tuple[int, int], kind: DTypeLike, highest: int) -> None:
    pixels = np.random.default_rng(1).integers(0, highest, shape, endpoint=True).astype(kind)
    pixels[:2, :2] = highest  # the largest sum there can be
    height, width = shape[0] // 2 * 2, shape[1] // 2 * 2
    blocks = pixels[:height, :width].astype(np.float64).reshape(height // 2, 2, width // 2, 2)
    sums = halved(pixels, float(highest))
    assert sums.flags.c_contiguous
    np.testing.assert_allclose(sums, blocks.sum(axis=(1, 3)), rtol=1e-6)
