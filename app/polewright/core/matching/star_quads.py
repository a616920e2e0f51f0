"""Which fours and threes of the detected stars are tried."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np

from polewright.core.model import FloatArray, IntArray


@lru_cache(maxsize=32)
def _combinations(count: int, size: int) -> IntArray:
    return np.array(list(combinations(range(count), size)), dtype=np.int64).reshape(-1, size)


def neighbour_quads(x_px: FloatArray, y_px: FloatArray, neighbours: int) -> IntArray:
    """Quads (n, 4), each once, of every star with three of its nearest `neighbours`; stars numbered as given.

    They come in the order of their last star: with the stars listed brightest first, those of the brightest lead.
    """
    count = x_px.size
    if count < 4:
        return np.empty((0, 4), dtype=np.int64)
    k = min(neighbours, count - 1)
    away = np.square(x_px[:, None] - x_px) + np.square(y_px[:, None] - y_px)
    np.fill_diagonal(away, -1.0)
    nearest = np.argsort(away, axis=1)[:, : k + 1]  # the star itself first
    triples = _combinations(k, 3) + 1
    fours = np.empty((count, len(triples), 4), dtype=np.int64)
    fours[:, :, 0] = nearest[:, :1]
    fours[:, :, 1:] = nearest[:, triples]
    numbers = quad_numbers(np.sort(fours.reshape(-1, 4), axis=1))
    numbers.sort()
    return numbered_quads(numbers[np.concatenate(([True], numbers[1:] != numbers[:-1]))])


_BASE = 1024  # stars are numbered below this


def quad_numbers(quads: IntArray) -> IntArray:
    """One number (n,) for each quad (n, 4) of ascending star numbers, in the order of the last star."""
    return np.asarray(((quads[:, 3] * _BASE + quads[:, 2]) * _BASE + quads[:, 1]) * _BASE + quads[:, 0])


def numbered_quads(numbers: IntArray) -> IntArray:
    """The quads (n, 4) of their numbers."""
    quads = np.empty((numbers.size, 4), dtype=np.int64)
    for place in range(4):
        quads[:, place] = (numbers >> (10 * place)) & (_BASE - 1)
    return quads


def all_threes(count: int) -> IntArray:
    """All threes (n, 3) of the first `count` stars, those of the brightest first."""
    threes = _combinations(count, 3)
    return np.asarray(threes[np.argsort(threes[:, 2], kind="stable")])
