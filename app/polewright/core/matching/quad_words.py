"""What refines the cell of a quad, in 31 bits of one word: four numbers of its code, the distance CD, and its size.

Five bits each for the code within its cell, five for CD, six for the size. CD follows from the other four distances
but for the side of AB on which D lies, so that a coarse CD tells nearly all there is; a step of the code is a
thirty-second of a cell, less than a centroid is sure of. What is asked is widened by half a step: nothing is lost by
coarse steps, a few quads more are looked at.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray

CODE_STEPS = 32.0  # of a cell, and of the longest CD
SIZE_STEP = 1.0 / 16.0  # of an octave
FIELD_BITS = (5, 5, 5, 5, 5, 6)  # four numbers of the code, CD, size
SHIFTS = (0, 5, 10, 15, 20, 25)
SPARE_BIT = np.uint32(1 << 31)
# steps by which the largest quads of a layer exceed the mean distance of its stars; those beyond the 64 steps that a
# quad can tell count as the last (measured: one of a thousand in each layer)
_LARGEST_STEPS = 48.0


def size_steps(baseline: FloatArray | NDArray[np.float32], density_per_sr: float) -> FloatArray:
    """Size of a chord in steps below the largest that a layer of so many stars tells apart, a real number."""
    largest = -0.5 * np.log2(density_per_sr) + _LARGEST_STEPS * SIZE_STEP
    return np.asarray((largest - np.log2(np.maximum(baseline, 1e-9))) / SIZE_STEP)


def quad_words(steps: NDArray[np.float32]) -> NDArray[np.uint32]:
    """Words (n,) of the steps (6, n), those beyond a field in its first or last."""
    words = np.zeros(steps.shape[1], dtype=np.uint32)
    for row, bits, shift in zip(steps, FIELD_BITS, SHIFTS):
        words |= np.clip(row, 0, (1 << bits) - 1).astype(np.uint32) << np.uint32(shift)
    return words


def step_limits(
    middle: NDArray[np.float32], reach: NDArray[np.float32]
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """(lowest, how many more) (6, n) of the whole steps within `reach` of `middle`, both (6, n) in steps."""
    last = np.array([[(1 << bits) - 1] for bits in FIELD_BITS], dtype=np.float32)
    lowest = np.clip(np.ceil(middle - 0.5 - reach), 0, last)
    return lowest.astype(np.uint8), (np.clip(np.floor(middle - 0.5 + reach), lowest, last) - lowest).astype(np.uint8)


def field(words: NDArray[np.uint32], number: int) -> NDArray[np.uint8]:
    """Field `number` (n,) of words (n,)."""
    mask = np.uint8((1 << FIELD_BITS[number]) - 1)
    return (words >> np.uint32(SHIFTS[number])).astype(np.uint8) & mask
