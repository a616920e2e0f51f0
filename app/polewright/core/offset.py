"""Where the axis points against the target pole, and whether that is good enough.

The probability that the axis lies inside the tolerance, from its posterior over repeated frames.

A two-dimensional normal distribution over a disc, integrated exactly (to 1e-9) along the wider principal axis.

Decided 2026-11-25. A claim of 95 %, a proof of 99 %. Stopping at 95 % is true in 98 to 99.4 % of claims
(tests/bench/done_honesty.py): honest, and no polishing. The second turn of the RA axis must be surer, because
nothing comes after it. One limit for both was rejected: at 99.5 % a third of the turns were polishing, at 95 % one
proof in two hundred would be wrong.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.budget import Budget
from polewright.core.covariance import Covariance as Covariance
from polewright.core.covariance import Pair as Pair
from polewright.core.covariance import covariance_of as covariance_of
from polewright.core.covariance import nearest_covariance
from polewright.core.model import FloatArray

SURE_ENOUGH = 0.95
PROVED = 0.99  # a proof is the last word of the night, and promises more
HIDDEN_RAD, HIDDEN_SHARE = 3.0 / ARCSEC_PER_RAD, 0.1  # of a record without a budget (chosen)
WORTH_SHARE = 2.0 / 3.0  # of the tolerance: a second witness less sure than this, in all, proves nothing
CLOSE_ENOUGH = 0.4  # of the tolerance, for each of the two components: no screw is asked to go nearer
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_REACH = 9.0  # standard deviations


@dataclass(frozen=True)
class Offset:
    """The axis against the target pole: (east, up) and whole covariance, rad on the sky; `readings` behind it.

    `budget`: the parts of the covariance of the capture that it rests on; None in records that know of stars only.
    """

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    readings: int = 1
    budget: Budget | None = None

    @property
    def total_rad(self) -> float:
        return math.hypot(self.east_rad, self.up_rad)

    @property
    def sigma_rad(self) -> float:
        """Total sigma: root of the trace."""
        return math.sqrt(max(self.covariance_rad2[0][0] + self.covariance_rad2[1][1], 0.0))

    @property
    def by_frames(self) -> Offset:
        """The same, as sure as frames can tell: without what is hidden from all of them."""
        if self.budget is None:
            return self
        rest = np.array(self.covariance_rad2) - np.array(self.budget.hidden)
        return replace(self, covariance_rad2=covariance_of(nearest_covariance(rest)))

    @property
    def at_best(self) -> Offset:
        """The same after any number of frames: only what they cannot tell is left."""
        return self if self.budget is None else replace(self, covariance_rad2=self.budget.hidden)


def probability_inside(offset: Offset, tolerance_rad: float, aim: tuple[float, float] = (0.0, 0.0)) -> float:
    """Probability that the axis is within `tolerance_rad` of the aim (east, up)."""
    return _inside(offset.east_rad - aim[0], offset.up_rad - aim[1], offset.covariance_rad2, tolerance_rad)


@lru_cache(maxsize=256)  # a state is asked for its advice, its words and its colours: the same question many times
def _inside(east_rad: float, up_rad: float, covariance_rad2: Covariance, tolerance_rad: float) -> float:
    values, vectors = np.linalg.eigh(np.array(covariance_rad2))
    mean = vectors.T @ np.array([east_rad, up_rad])
    sigma = np.sqrt(np.maximum(values, 0.0)) / tolerance_rad
    mean = mean / tolerance_rad
    narrow, wide = (float(sigma[0]), float(mean[0])), (float(sigma[1]), float(mean[1]))
    if wide[0] < 1e-9:
        return 1.0 if float(np.hypot(*mean)) <= 1.0 else 0.0
    low = max(-1.0, wide[1] - _REACH * wide[0])
    high = min(1.0, wide[1] + _REACH * wide[0])
    if high <= low:
        return 0.0
    total = sum(_panels(np.array(_edges(low, high, narrow, wide)), narrow, wide).tolist())
    return float(min(max(total, 0.0), 1.0))


def good_enough(
    offset: Offset, tolerance_rad: float, aim: tuple[float, float] = (0.0, 0.0), sure: float = SURE_ENOUGH
) -> bool:
    """Whether to stop: inside the tolerance with 95 % (or as `sure` as asked), by all that is known of the error."""
    whole = _with_hidden(offset, tolerance_rad) if offset.budget is None else offset
    return probability_inside(whole, tolerance_rad, aim) >= sure


def floor_rad(offset: Offset, sure: float = SURE_ENOUGH) -> float:
    """The smallest tolerance that can be claimed with this covariance, were the axis in the middle of it."""
    centred = replace(offset, east_rad=0.0, up_rad=0.0)
    most_rad = 10.0 * max(offset.sigma_rad, 1e-9)
    return least_rad(most_rad, lambda tolerance: probability_inside(centred, max(tolerance, 1e-12)) >= sure)


def least_rad(most_rad: float, enough: Callable[[float], bool]) -> float:
    """The smallest angle that is enough, when every larger one is too; `most_rad` where none below it is."""
    low, high = 0.0, most_rad
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def frames_exhausted(
    offset: Offset, tolerance_rad: float, aim: tuple[float, float] = (0.0, 0.0), sure: float = SURE_ENOUGH
) -> bool:
    """Whether the frames have done all they can: by them the axis is inside, so near the aim that no screw is asked
    to go nearer, and what they cannot show leaves it open, whatever their number."""
    near = max(abs(offset.east_rad - aim[0]), abs(offset.up_rad - aim[1])) <= CLOSE_ENOUGH * tolerance_rad
    if offset.budget is None or not near:
        return False
    told = probability_inside(offset.by_frames, tolerance_rad, aim) >= sure
    return told and probability_inside(offset.at_best, tolerance_rad, aim) < sure


def _with_hidden(offset: Offset, tolerance_rad: float) -> Offset:
    """For records that knew of the stars only: a few arcseconds, up to a tenth of the tolerance."""
    hidden = min(HIDDEN_RAD, HIDDEN_SHARE * tolerance_rad) ** 2
    (ee, eu), (ue, uu) = offset.covariance_rad2
    return replace(offset, covariance_rad2=((ee + hidden, eu), (ue, uu + hidden)))


def _edges(low: float, high: float, narrow: tuple[float, float], wide: tuple[float, float]) -> Sequence[float]:
    """Panel borders in the angle t, x = sin t: a few per sigma, and where the narrow axis meets the circle."""
    t_low, t_high = math.asin(low), math.asin(high)
    borders = {t_low, t_high}
    for step in np.arange(-_REACH, _REACH + 0.1, 2.0):
        x = wide[1] + float(step) * wide[0]
        if low < x < high:
            borders.add(math.asin(x))
    for y in (narrow[1] - 4.0 * narrow[0], narrow[1], narrow[1] + 4.0 * narrow[0]):
        if abs(y) < 1.0:
            crossing = math.acos(abs(y))
            borders |= {t for t in (-(crossing), crossing) if t_low < t < t_high}
    return sorted(borders)


def _panels(edges: FloatArray, narrow: tuple[float, float], wide: tuple[float, float]) -> FloatArray:
    """What each panel between two edges holds, (P,)."""
    a, b = edges[:-1, None], edges[1:, None]
    t = 0.5 * (a + b) + 0.5 * (b - a) * _NODES
    x, y = np.sin(t), np.cos(t)
    density = np.exp(-0.5 * ((x - wide[1]) / wide[0]) ** 2) / (wide[0] * math.sqrt(2.0 * math.pi)) * y
    inside = _WEIGHTS * density * (_normal(y, narrow) - _normal(-y, narrow))
    return np.asarray(0.5 * (edges[1:] - edges[:-1]) * np.sum(inside, axis=1))


def _normal(x: FloatArray, narrow: tuple[float, float]) -> FloatArray:
    """Cumulative normal distribution of the narrow coordinate; a step when it has no width."""
    if narrow[0] < 1e-12:
        return np.asarray(np.where(x >= narrow[1], 1.0, 0.0))
    z = (x - narrow[1]) / (narrow[0] * math.sqrt(2.0))
    return 0.5 * np.array(list(map(math.erfc, (-z).ravel().tolist()))).reshape(x.shape)


def after_more_frames(offset: Offset, shared: Covariance, more: int) -> Offset:
    """The posterior to be expected after `more` frames like those so far, the mean staying where it is.

    `shared` is the part of the covariance that every frame has in common (what the capture left uncertain).
    """
    share = offset.readings / (offset.readings + more)
    (ee, eu), (_, uu) = offset.covariance_rad2
    (see, seu), (_, suu) = shared
    own = ((ee - see) * share, (eu - seu) * share, (uu - suu) * share)
    cross = seu + own[1]
    return Offset(
        offset.east_rad,
        offset.up_rad,
        ((see + max(own[0], 0.0), cross), (cross, suu + max(own[2], 0.0))),
        offset.readings + more,
    )


def frames_until_sure(
    offset: Offset, shared: Covariance, tolerance_rad: float, aim: tuple[float, float] = (0.0, 0.0), most: int = 30
) -> int | None:
    """How many more frames like these until the probability passes 95 %; None when frames alone will not do it."""
    for more in range(most + 1):
        expected = after_more_frames(offset, shared, more) if more else offset
        if probability_inside(expected, tolerance_rad, aim) >= SURE_ENOUGH:
            return more
    return None
