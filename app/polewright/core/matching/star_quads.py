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
    """Quads (n, 4), each once, of every star with three of its nearest `neighbours`; stars numbered as given."""
    count = x_px.size
    if count < 4:
        return np.empty((0, 4), dtype=np.int64)
    k = min(neighbours, count - 1)
    away = np.square(x_px[:, None] - x_px) + np.square(y_px[:, None] - y_px)
    np.fill_diagonal(away, -1.0)
    nearest = np.argsort(away, axis=1)[:, : k + 1]  # the star itself first
    triples = _combinations(k, 3) + 1
    quads = np.sort(
        np.concatenate([np.repeat(nearest[:, :1, None], len(triples), axis=1), nearest[:, triples]], axis=2), axis=2
    ).reshape(-1, 4)
    code = ((quads[:, 0] * count + quads[:, 1]) * count + quads[:, 2]) * count + quads[:, 3]
    return np.asarray(quads[np.unique(code, return_index=True)[1]])


def all_threes(count: int) -> IntArray:
    """All threes (n, 3) of the first `count` stars, those of the brightest first."""
    threes = _combinations(count, 3)
    return np.asarray(threes[np.argsort(threes[:, 2], kind="stable")])
