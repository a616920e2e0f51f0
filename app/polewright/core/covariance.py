"""A (2, 2) covariance as nested tuples: exact in a log, comparable, free of arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]  # as in core/model.py, which stands above this module

Pair = tuple[float, float]
Covariance = tuple[Pair, Pair]  # ((ee, eu), (eu, uu)), rad^2 on the sky


def covariance_of(matrix: FloatArray) -> Covariance:
    """A (2, 2) array as nested tuples."""
    return (float(matrix[0, 0]), float(matrix[0, 1])), (float(matrix[1, 0]), float(matrix[1, 1]))


def nearest_covariance(matrix: FloatArray) -> FloatArray:
    """The nearest (..., N, N) matrices without a negative variance."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.swapaxes(-1, -2)))
    return np.asarray(vectors * np.maximum(values, 0.0)[..., None, :] @ vectors.swapaxes(-1, -2))
