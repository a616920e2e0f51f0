"""A long watch split into parts, which must agree: what flexes, creeps or is guided shows between them.

The scatter of the frames within a part does not know of a tube that sags on its way across the sky; the parts do.

Decided 2026-11-29. A long drift is split. The scatter of frames does not know of a tube that bends. Thirds of a
field watched for half an hour and more must agree within chance (core/drift/parts.py), else the covariance grows to
cover them. Fitting flexure was rejected: one field cannot tell it from the axis.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from polewright.core.drift.fit import DriftData
from polewright.core.model import FloatArray, IntArray

# each part must outlast several worm turns and hold a fit of its own (chosen)
LONG_S, PARTS, LEAST_FRAMES = 1800.0, 3, 6
_SURE_SIGMAS = 3.1  # one in a thousand


def parts_of(data: DriftData) -> list[DriftData]:
    """Thirds, by time, of every position that was watched for long; none when there is no such."""
    parts = []
    for k in range(data.positions):
        here = np.flatnonzero(data.position == k)
        if np.ptp(data.at_s[here]) < LONG_S:
            continue
        thirds = np.array_split(here, PARTS)
        if min(third.size for third in thirds) >= LEAST_FRAMES:
            parts += [_part(data, third) for third in thirds]
    return parts


def _part(data: DriftData, rows: IntArray) -> DriftData:
    return replace(
        data,
        at_s=data.at_s[rows] - data.at_s[rows[0]],
        direction_enu=data.direction_enu[rows],
        sigma_rad=data.sigma_rad[rows],
        position=np.zeros(rows.size, dtype=np.int64),
        camera_x_enu=None if data.camera_x_enu is None else data.camera_x_enu[rows],
        roll_sigma_rad=None if data.roll_sigma_rad is None else data.roll_sigma_rad[rows],
    )


def widening(
    whole_rad: FloatArray, covariance: FloatArray, parts_rad: FloatArray, covariances: FloatArray
) -> FloatArray | None:
    """The covariance (2, 2) of the `whole_rad` (2,) that covers what its parts (K, 2) say, each with its own
    covariance (K, 2, 2); None when they agree within what chance allows once in a thousand."""
    weights = np.linalg.inv(covariances)
    middle = np.linalg.solve(weights.sum(axis=0), np.einsum("kij,kj->i", weights, parts_rad))
    apart = parts_rad - middle
    chi2, dof = float(np.einsum("ki,kij,kj->", apart, weights, apart)), 2 * len(parts_rad) - 2
    beside = whole_rad - middle
    if chi2 < _limit(dof):
        return None
    return np.asarray(covariance * (chi2 / dof) + np.outer(beside, beside))


def _limit(dof: int) -> float:
    """Quantile of chi-square (Wilson and Hilferty, PNAS 17, 684 (1931))."""
    return float(dof * (1.0 - 2.0 / (9.0 * dof) + _SURE_SIGMAS * np.sqrt(2.0 / (9.0 * dof))) ** 3)
