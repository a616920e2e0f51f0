"""Where the quads of each cell lie, when most cells are empty: a bit a cell, and a start for each that is filled.

The distances of four stars bind each other: of a layer's cells eight in ten are empty (measured, all layers of the
catalogue), and a start for each of them was a sixth of the whole index.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import IntArray

BITS = 64  # of a word


def words_for(cells: int) -> int:
    """Words that hold a bit for each cell."""
    return -(-cells // BITS)


def file_cells(
    cell: NDArray[np.int32], cells: int
) -> tuple[NDArray[np.uint64], NDArray[np.int32], NDArray[np.int32]]:
    """(filled, before, start) of quads in the cells `cell` (Q,): a bit for each of so many cells (W words); the
    filled cells before each word (W,); where the quads of each of F filled cells start, and the last end (F + 1,)."""
    count = np.bincount(cell, minlength=words_for(cells) * BITS)
    bits = count > 0
    filled = np.packbits(bits, bitorder="little").view("<u8").astype(np.uint64)
    before = np.zeros(filled.size, dtype=np.int32)
    np.cumsum(np.bitwise_count(filled[:-1]), out=before[1:])
    start = np.zeros(int(bits.sum()) + 1, dtype=np.int32)
    np.cumsum(count[bits], out=start[1:])
    return filled, before, start


def filled_among(filled: NDArray[np.uint64], before: NDArray[np.int32], cells: IntArray) -> tuple[IntArray, IntArray]:
    """(which (m,) of the cells (n,) are filled, their places (m,) in `start`)."""
    word, bit = cells >> 6, (cells & 63).astype(np.uint64)
    bits = filled[word]
    kept = np.flatnonzero((bits >> bit) & np.uint64(1))
    word, bit, bits = word[kept], bit[kept], bits[kept]
    below = bits & ((np.uint64(1) << bit) - np.uint64(1))
    return kept, before[word].astype(np.int64) + np.bitwise_count(below)
