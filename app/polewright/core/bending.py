"""What sag and pull do to one capture, once two captures have tied the two numbers together.

A budget adds its columns as if each nuisance were alone. Two turns that agree leave sag and pull open along a line
only: more of the one is less of the other. So the column of sag is what a unit of it does with the pull that comes
with it, and that of pull is what is left of pull by itself; a pull that surprises stays a pull alone.
"""

from __future__ import annotations

import numpy as np

from polewright.core.budget import Budget, Column, Nuisance
from polewright.core.covariance import FloatArray
from polewright.core.flexure import Flexure

MOST_TIED = 0.999  # correlation: what is left open is never nothing (chosen)


def bending_pair(per_unit: FloatArray, flexure: Flexure) -> tuple[Column, Column]:
    """The columns of a capture of which sag and pull, a unit each, move (east, up) by `per_unit` (2, 2)."""
    sag = per_unit[:, 0] + flexure.pull_with_sag * per_unit[:, 1]
    pull = per_unit[:, 1]
    return (
        Column(Nuisance.SAG, float(sag[0]), float(sag[1]), flexure.sag_sigma_rad),
        Column(Nuisance.PULL, float(pull[0]), float(pull[1]), flexure.own_pull_sigma),
    )


def per_unit_of(budget: Budget, flexure: Flexure) -> FloatArray:
    """(2, 2): what a unit of sag and of pull alone do to (east, up); the way back from `bending_pair`."""
    found = [budget.column(name) for name in (Nuisance.SAG, Nuisance.PULL)]
    sag, pull = (np.zeros(2) if column is None else column.per_unit for column in found)
    return np.stack([sag - flexure.pull_with_sag * pull, pull], axis=1)


def with_bending(budget: Budget, per_unit: FloatArray, flexure: Flexure) -> Budget:
    """The same budget with what is known of sag and pull by now."""
    others = tuple(c for c in budget.columns if c.nuisance not in (Nuisance.SAG, Nuisance.PULL))
    return Budget(budget.chances, (*others, *bending_pair(per_unit, flexure)))


def learned(flexure: Flexure, mean: FloatArray, covariance: FloatArray, surprise: float) -> Flexure:
    """What is known after captures measured with `flexure` have told the numbers of its two columns: mean (2,),
    covariance (2, 2), and how likely the pull is still far from usual."""
    from_columns = np.array([[1.0, 0.0], [flexure.pull_with_sag, 1.0]])
    more, spread = from_columns @ mean, from_columns @ covariance @ from_columns.T
    sag_sigma, pull_sigma = (float(s) for s in np.sqrt(np.maximum(np.diag(spread), 1e-30)))
    return Flexure(
        flexure.sag_rad + float(more[0]),
        sag_sigma,
        flexure.pull + float(more[1]),
        pull_sigma,
        flexure.nights,
        float(np.clip(spread[0, 1] / (sag_sigma * pull_sigma), -MOST_TIED, MOST_TIED)),
        surprise,
    )
