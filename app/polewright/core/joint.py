"""Two captures of one axis taken together: where it is, and what their difference tells about a bending tube.

Each capture says m = x + J f + noise: x the axis, f the nuisances (sag, pull, air ...), J what one unit of each does
to this capture (core/budget.py). Nothing is known of x beforehand; f is normal about 0 with the budget's sigmas. All
is linear and normal, so the posterior is exact:

    V = blockdiag(C1, C2) + J P J^T,  x = (E^T V^-1 E)^-1 E^T V^-1 m,  f = P J^T V^-1 (m - E x)

The pull may also be far larger than usual: a cable that tugs, a plate that gives. Its prior is a mixture of the
usual normal and a wide one; a difference that the usual sizes cannot make finds its home in the wide one.

Decided 2026-11-29. A prior that can be surprised. With one normal prior a proof against a pull of six sigmas shrinks
what it finds and believes itself; with a wide one alone it can prove nothing by a single sky. The mixture does both:
a small difference seen under a good lever rules the wide part out, a large one chooses it.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.covariance import FloatArray, covariance_of, nearest_covariance
from polewright.core.flexure import SURPRISE
from polewright.core.offset import Offset, probability_inside

BENDS = (Nuisance.SAG, Nuisance.PULL)
TAILED = (Nuisance.PULL,)  # sag is 5 to 20" (common practice), and no two skies above 25 degrees tell it well apart
TAIL_RAD = 60.0 / ARCSEC_PER_RAD  # one sigma of a pull far from usual: six times the usual (chosen)
_TIED = 1e-12  # eigenvalue of a correlation below which two nuisances are one (chosen: rounding is 1e-16)


@dataclass(frozen=True, eq=False)
class Word:
    """What one capture says of the axis: (east, up), rad, against the target pole, and how sure, part by part."""

    offset_rad: FloatArray
    budget: Budget


@dataclass(frozen=True, eq=False)
class Share:
    """One normal part of the posterior: its weight, axis (2,) with covariance, nuisances (K,) with theirs (units of
    the budget), how the two hang together (2, K), and the chi-square (2) of the difference of the two captures."""

    weight: float
    axis_rad: FloatArray
    covariance_rad2: FloatArray
    nuisances: FloatArray
    nuisance_covariance: FloatArray
    cross: FloatArray
    chi2: float


@dataclass(frozen=True, eq=False)
class Joint:
    """The posterior after two captures; `names` (K) are their nuisances, first those of the first. The first share is
    the usual one, without any wide prior."""

    names: tuple[Nuisance, ...]
    shares: tuple[Share, ...]

    @property
    def usual_chi2(self) -> float:
        """Squared distance of the two captures in sigmas of what is usual, two degrees of freedom."""
        return self.shares[0].chi2

    @property
    def least_chi2(self) -> float:
        """The same where the largest bending that can be imagined is allowed for."""
        return min(share.chi2 for share in self.shares)

    def inside(self, tolerance_rad: float) -> float:
        """Probability that the axis is within the tolerance."""
        return self._within(tolerance_rad, np.zeros(2))

    def at_best(self, tolerance_rad: float) -> float:
        """The same once the screws have taken out what the axis is believed to be off."""
        return self._within(tolerance_rad, self.axis_rad)

    def _within(self, tolerance_rad: float, aim_rad: FloatArray) -> float:
        return math.fsum(
            s.weight * probability_inside(_offset(s.axis_rad - aim_rad, s.covariance_rad2), tolerance_rad)
            for s in self.shares
        )

    @property
    def axis_rad(self) -> FloatArray:
        """(2,): mean of the axis over all shares."""
        return np.asarray(sum(share.weight * share.axis_rad for share in self.shares))

    @property
    def covariance_rad2(self) -> FloatArray:
        """(2, 2): of the axis, over all shares."""
        axis = self.axis_rad
        return np.asarray(
            sum(s.weight * (s.covariance_rad2 + np.outer(s.axis_rad - axis, s.axis_rad - axis)) for s in self.shares)
        )

    def nuisance(self, name: Nuisance) -> tuple[float, float] | None:
        """Mean and sigma of a nuisance after both captures; None when no budget holds it."""
        if name not in self.names:
            return None
        at = self.names.index(name)
        mean = math.fsum(share.weight * float(share.nuisances[at]) for share in self.shares)
        square = math.fsum(
            share.weight * (float(share.nuisance_covariance[at, at]) + (float(share.nuisances[at]) - mean) ** 2)
            for share in self.shares
        )
        return mean, math.sqrt(square)

    @property
    def surprise(self) -> float:
        """How likely a pull far from usual still is."""
        return math.fsum(share.weight for share in self.shares[1:])

    def bending(self) -> tuple[FloatArray, FloatArray]:
        """Sag and pull (2,), in units of the budget's columns, with their covariance (2, 2)."""
        at = [self.names.index(name) for name in BENDS]
        mean = sum((share.weight * share.nuisances[at] for share in self.shares), np.zeros(2))
        return np.asarray(mean), self._moments()[1][np.ix_(at, at)]

    @property
    def offset(self) -> Offset:
        """Mean, covariance and budget."""
        return replace(_offset(self.axis_rad, self.covariance_rad2), budget=self.budget)

    @property
    def budget(self) -> Budget:
        """The error of the joint axis: what hangs on each nuisance as it is known by now, the rest by chance.

        Two captures that agree tie the nuisances together, and a budget adds its columns as if each were alone. They
        are therefore those of the independent numbers that lie nearest to the nuisances (in sigmas of each), so that
        the whole is the covariance of the axis.
        """
        columns = self._columns()
        rest = self.covariance_rad2 - sum((c.covariance for c in columns), np.zeros((2, 2)))
        return Budget((Chance(Part.STARS, covariance_of(nearest_covariance(rest))),), columns)

    def _columns(self) -> tuple[Column, ...]:
        """The axis believed runs against a nuisance that is larger than believed."""
        cross, spread = self._moments()
        sigma = np.sqrt(np.maximum(np.diag(spread), 1e-300))
        values, vectors = np.linalg.eigh(spread / np.outer(sigma, sigma))
        kept = vectors[:, values > _TIED]
        alone = kept / np.sqrt(values[values > _TIED]) @ kept.T
        east, up = -(cross / sigma) @ alone / sigma
        return tuple(Column(n, float(e), float(u), float(s)) for n, e, u, s in zip(self.names, east, up, sigma))

    def _moments(self) -> tuple[FloatArray, FloatArray]:
        """Over all shares, of axis with nuisances (2, K) and of the nuisances (K, K)."""
        count = len(self.names)
        mean = sum((s.weight * s.nuisances[:count] for s in self.shares), np.zeros(count))
        cross, spread = np.zeros((2, count)), np.zeros((count, count))
        for s in self.shares:
            away = s.nuisances[:count] - mean
            cross += s.weight * (s.cross[:, :count] + np.outer(s.axis_rad - self.axis_rad, away))
            spread += s.weight * (s.nuisance_covariance[:count, :count] + np.outer(away, away))
        return cross, spread


def joint(first: Word, second: Word, apart: Collection[Nuisance] = (), tail_weight: float = SURPRISE) -> Joint:
    """Both captures together. `apart`: nuisances that have a value of their own in each (a tube turned over pulls
    another way); then that of the first is told. `tail_weight` 0: the usual prior alone."""
    budgets = (first.budget, second.budget)
    names = tuple(dict.fromkeys(column.nuisance for budget in budgets for column in budget.columns))
    kinds = (*names, *(name for name in names if name in apart))
    bends = [at for at, name in enumerate(kinds) if name in TAILED] if tail_weight > 0.0 else []
    slope = _slope(budgets, names, apart)
    sigma = np.array([_sigma(budgets, name) for name in kinds])
    found = []
    for wide in product((False, True), repeat=len(bends)):
        tail = np.zeros(len(kinds))
        tail[[at for at, far in zip(bends, wide) if far]] = TAIL_RAD
        chance = math.prod(tail_weight if far else 1.0 - tail_weight for far in wide)
        share, log = _share(first, second, slope, np.diag(sigma**2 + tail**2))
        found.append((share, log + math.log(chance)))
    logs = np.array([log for _, log in found])
    weights = np.exp(logs - logs.max())
    weights = weights / weights.sum()
    return Joint(names, tuple(replace(share, weight=float(w)) for w, (share, _) in zip(weights, found)))


def bending_alone(first: Word, second: Word, apart: Collection[Nuisance] = ()) -> tuple[FloatArray, FloatArray]:
    """Sag and pull (2,) and their covariance (2, 2) by the two captures themselves, whatever was believed before:
    with nothing but the widest prior."""
    words = [replace(word, budget=_unlearned(word.budget)) for word in (first, second)]
    told = joint(words[0], words[1], apart, tail_weight=0.0)
    at = [told.names.index(name) for name in BENDS]
    share = told.shares[0]
    return share.nuisances[at], share.nuisance_covariance[np.ix_(at, at)]


def _unlearned(budget: Budget) -> Budget:
    columns = tuple(replace(c, sigma=TAIL_RAD) if c.nuisance in BENDS else c for c in budget.columns)
    return replace(budget, columns=columns)


def _sigma(budgets: Sequence[Budget], name: Nuisance) -> float:
    return next(column.sigma for budget in budgets if (column := budget.column(name)) is not None)


def _slope(budgets: Sequence[Budget], names: Sequence[Nuisance], apart: Collection[Nuisance]) -> FloatArray:
    """(4, K): what each nuisance does to both captures; those `apart` have a column each, the second's at the end."""
    first, second = (_columns(budget, names) for budget in budgets)
    own = [at for at, name in enumerate(names) if name in apart]
    last = np.vstack([np.zeros((2, len(own))), second[:, own]])
    second[:, own] = 0.0
    return np.hstack([np.vstack([first, second]), last])


def _columns(budget: Budget, names: Sequence[Nuisance]) -> FloatArray:
    """(2, K), 0 where the budget has none."""
    found = [budget.column(name) for name in names]
    return np.array([[0.0, 0.0] if c is None else [c.east_rad, c.up_rad] for c in found]).reshape(-1, 2).T.copy()


def _share(first: Word, second: Word, slope: FloatArray, prior: FloatArray) -> tuple[Share, float]:
    """The posterior under one prior, and the log of its evidence but for a constant."""
    own = np.zeros((4, 4))
    own[:2, :2], own[2:, 2:] = np.array(first.budget.by_chance), np.array(second.budget.by_chance)
    told = np.concatenate([first.offset_rad, second.offset_rad])
    both = np.vstack([np.eye(2), np.eye(2)])
    inverse = np.linalg.inv(own + slope @ prior @ slope.T)
    covariance = np.linalg.inv(both.T @ inverse @ both)
    axis = covariance @ both.T @ inverse @ told
    gain = prior @ slope.T @ inverse
    by_axis = gain @ both
    left = prior - gain @ slope @ prior + by_axis @ covariance @ by_axis.T
    lever = slope[2:] - slope[:2]
    spread = own[:2, :2] + own[2:, 2:] + lever @ prior @ lever.T
    apart = second.offset_rad - first.offset_rad
    chi2 = float(apart @ np.linalg.solve(spread, apart))
    cross = -covariance @ by_axis.T
    share = Share(1.0, axis, np.asarray(covariance), gain @ (told - both @ axis), left, cross, chi2)
    return share, -0.5 * (chi2 + float(np.linalg.slogdet(spread)[1]))


def _offset(axis_rad: FloatArray, covariance_rad2: FloatArray) -> Offset:
    return Offset(float(axis_rad[0]), float(axis_rad[1]), covariance_of(0.5 * (covariance_rad2 + covariance_rad2.T)))
