"""A layer of the star index over a made-up sky, small enough to be damaged a thousand times."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from polewright.core.matching.pattern_index import PatternLayer, build_layer
from polewright.core.model import FloatArray


def made_up_sky(stars: int, seed: int = 3) -> FloatArray:
    """(stars, 3) unit vectors."""
    v = np.random.default_rng(seed).normal(size=(stars, 3))
    return np.asarray(v / np.linalg.norm(v, axis=1, keepdims=True))


def small_layer(stars: int = 60, neighbours: int = 5, seed: int = 3) -> PatternLayer:
    """All quads of so many stars with their nearest."""
    position = made_up_sky(stars, seed)
    nearest = np.asarray(cKDTree(position).query(position, k=neighbours + 1)[1])[:, 1:]
    return build_layer(position, np.arange(stars, dtype=np.int32), nearest.astype(np.int32))
