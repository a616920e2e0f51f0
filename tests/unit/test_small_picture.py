"""The small picture of the latest frame: whatever a camera counts in, the same sky gives the same picture."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.model import FloatArray
from polewright.ui.presenting.picture import stretched


def sky(seed: int = 5) -> FloatArray:
    """Noise of 30 around 1000 with one star, counts of a camera."""
    image = np.random.default_rng(seed).normal(1000.0, 30.0, (240, 320))
    y, x = np.mgrid[:240, :320]
    return np.asarray(image + 900.0 * np.exp(-((x - 100.0) ** 2 + (y - 60.0) ** 2) / 8.0))


@pytest.mark.parametrize("every", [1, 2, 3, 4])
@pytest.mark.parametrize("scale", [1e-5, 1.0, 1e4])
def test_a_frame_of_fractions_looks_like_one_of_counts(every: int, scale: float) -> None:
    counted = stretched(sky().astype(np.uint16), every).astype(float)
    fractions = stretched((sky() * scale).astype(np.float32), every).astype(float)
    assert np.abs(fractions - counted).mean() < 3.0  # of 255
    assert counted.max() > 150.0 > np.median(counted) + 60.0


@pytest.mark.parametrize("every", [2, 3, 4, 5])
def test_full_pixels_are_neither_wrapped_nor_lost_in_shrinking(every: int) -> None:
    """A sky near the top of sixteen bits, its noise only just above the steps that are lost."""
    image = np.clip(60.0 * (sky() - 1000.0) + 55000.0, 0.0, 65535.0)
    bright = stretched(image.astype(np.uint16), every).astype(float)
    faint = stretched(sky().astype(np.uint16), every).astype(float)
    assert abs(np.median(bright) - np.median(faint)) < 6.0
    assert bright[60 // every, 100 // every] > np.median(bright) + 60.0
