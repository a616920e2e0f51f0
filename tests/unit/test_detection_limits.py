"""Pictures that are no frames of stars (black and white, bars, stretched for the eye) cost no more than stars do."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from polewright.core.model import Frame, PixelArray, StarList
from polewright.services.careful_pass import extracted
from polewright.services.detector import Detector

SHAPE = (960, 1280)
PEAK_BYTES = 200 << 20  # 160 bytes a pixel; the flat squares alone took 4.7 GB and 40 s


def flat_squares() -> PixelArray:
    """Squares of 24 px, white on black: every pixel of theirs is a peak."""
    lit = np.random.default_rng(1).random((SHAPE[0] // 24, SHAPE[1] // 24)) < 0.02
    picture = np.zeros(SHAPE, dtype=np.uint8)
    squares = (np.kron(lit, np.ones((24, 24))) * 255).astype(np.uint8)
    picture[: squares.shape[0], : squares.shape[1]] = squares
    return picture


def bars() -> PixelArray:
    """A quarter of the picture lit: more than sep takes."""
    return np.tile(((np.arange(SHAPE[1]) % 16 < 4) * 255).astype(np.uint8), (SHAPE[0], 1))


def salt_and_pepper() -> PixelArray:
    return ((np.random.default_rng(2).random(SHAPE) < 0.3) * 255).astype(np.uint8)


@pytest.mark.parametrize("picture", [flat_squares, bars, salt_and_pepper])
def test_a_picture_that_is_no_frame_is_measured_in_bounded_memory(picture: object) -> None:
    pixels = picture()
    tracemalloc.start()
    try:
        assert isinstance(Detector().detect(Frame("picture", pixels, None)), StarList)
        assert tracemalloc.get_traced_memory()[1] < PEAK_BYTES
    finally:
        tracemalloc.stop()


def test_what_towers_over_a_crowded_picture_is_still_found() -> None:
    flat = np.where(np.arange(1024) % 2 < 1, 6.0, 0.0) + np.zeros((1024, 1))
    flat[500:504, 500:504] = 500.0
    found = extracted(flat.astype(np.float32), 4.0, minarea=2, deblend_cont=0.01)
    assert len(found) == 1 and abs(found["x"][0] - 501.5) < 0.6 and abs(found["y"][0] - 501.5) < 0.6


def test_other_troubles_of_the_library_are_not_hidden() -> None:
    with pytest.raises(ValueError):
        extracted(np.zeros((4, 4, 4), dtype=np.float32), 1.0, minarea=2, deblend_cont=0.01)
