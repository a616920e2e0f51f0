"""Numbers below 2^24 in three bytes each, the lowest first: a quarter less to keep than as words."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import IntArray

END = 1 << 24  # the first number that does not fit


def packed(numbers: NDArray[Any]) -> NDArray[np.uint8]:
    """(..., 3) of numbers (...)."""
    assert numbers.size == 0 or (numbers.min() >= 0 and numbers.max() < END)
    return np.stack([(numbers >> shift).astype(np.uint8) for shift in (0, 8, 16)], axis=-1)


def unpacked(three: NDArray[np.uint8]) -> IntArray:
    """Numbers (...) of (..., 3)."""
    return np.asarray(three[..., 0] | three[..., 1] * np.int64(1 << 8) | three[..., 2] * np.int64(1 << 16))
