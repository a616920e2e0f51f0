"""The odds of a pose against chance: Bayes, with every hypothesis that could have been tried counted in.

Likelihood (after Lang et al., AJ 139, 1782 (2010)): under the pose, a detected star comes with probability 1 - q
from one of the n catalogue stars expected in the frame, scattered by sigma about it, else from anywhere; under
chance, from anywhere. How many of the detections, brightest first, are worth asking is not known either: beyond some
number all may be fainter than the catalogue, and then tell nothing. Prior: all attitudes of the region searched, all
scales of the range allowed, and both parities are alike.
What is compared is the likelihood averaged over that prior: the best value times the share of the prior that fits
nearly as well (Laplace). The search itself therefore cannot raise the odds, however many patterns it tries.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from polewright.core.model import FloatArray, IntArray

# q: share of the detected stars that are no catalogue star; all of these are equally likely beforehand
STRAY_SHARES = np.array([0.1, 0.3, 0.6, 0.85, 0.95])[:, None]
_SHORTEST_LIST, _LIST_STEP = 6, 1.5  # lengths at which a list is weighed: 6 stars, and 1.5 times as many each
ACCEPTED_LOG_ODDS = 10.0  # exp(10): at most one false solution in 22,000, even if every frame were empty of stars


@dataclass(frozen=True)
class Prior:
    """What was allowed: solid angle for the image centre, fractional half width of the scale, parities."""

    solid_angle_sr: float
    scale_tolerance: float
    parities: int


@lru_cache(maxsize=64)
def list_lengths(detections: int) -> tuple[IntArray, FloatArray]:
    """How many of the brightest detections may tell anything, and the log of each number's share of belief (L,):
    half for all of them, the rest for ever fewer, down to six."""
    steps = max(0, int(np.log(max(detections, 1) / _SHORTEST_LIST) / np.log(_LIST_STEP)))
    lengths = np.rint(detections / _LIST_STEP ** np.arange(steps + 1)).astype(np.int64)
    shares = np.full(lengths.size, 0.5 / max(steps, 1))
    shares[0] = 0.5 if steps else 1.0
    return lengths, np.log(shares)


def log_likelihood_ratio(
    distance_px: FloatArray,
    sigma_px: FloatArray,
    expected_stars: IntArray,
    area_px: float,
    rank: IntArray | None = None,
    detections: int | None = None,
) -> FloatArray:
    """Natural log of the likelihood ratio (D,) for D depths of catalogue, `expected_stars` (D,) in the frame each.

    `distance_px` (D, N) of detected stars from their catalogue stars, inf when there is none near, brightest star
    first; `sigma_px` (N,) standard deviation along one axis. `rank` (N,), ascending, is the place of each in the
    list of all `detections`, the brightest being 0; all others of the list have no star near at any depth.
    """
    count = sigma_px.size
    rank = np.arange(count) if rank is None else rank
    lengths, shares = list_lengths(count if detections is None else detections)
    if 2 * count >= lengths[0]:  # most of the list matches: shorter ones add next to nothing, and take time
        lengths, shares = lengths[:1], shares[:1]
    peak = area_px / (2.0 * np.pi * sigma_px**2 * np.maximum(expected_stars, 1)[:, None])
    z = np.minimum(distance_px / sigma_px, 40.0)
    near = peak * np.exp(-0.5 * z * z)
    terms = (1.0 - STRAY_SHARES[:, :, None]) * near
    terms += STRAY_SHARES[:, :, None]
    np.log(terms, out=terms)
    within = np.searchsorted(rank, lengths)  # matched ones of each list
    upto = np.zeros((len(STRAY_SHARES), len(expected_stars), count + 1))
    np.cumsum(terms, axis=2, out=upto[:, :, 1:])
    sums = upto[:, :, within] + (np.log(STRAY_SHARES) * (lengths - within) + shares)[:, None, :]
    each = sums.swapaxes(1, 2).reshape(-1, len(expected_stars))
    return log_sum_exp(each) - float(np.log(len(STRAY_SHARES)))


def log_sum_exp(values: FloatArray) -> FloatArray:
    """ln of the sum of exp(values) along the first axis."""
    top = values.max(axis=0)
    return np.asarray(top + np.log(np.exp(values - top).sum(axis=0)))


def log_mean_exp(values: FloatArray) -> FloatArray:
    """ln of the mean of exp(values) along the first axis: the odds averaged over equally likely choices."""
    return np.asarray(log_sum_exp(values) - np.log(len(values)))


def log_share_of_prior(prior: Prior, covariance: FloatArray) -> float:
    """Natural log of the posterior volume over the prior volume.

    `covariance` (4, 4) is that of (rotation vector in camera axes, ln focal length): Laplace's approximation.
    """
    volume = 0.5 * np.linalg.slogdet(2.0 * np.pi * covariance)[1]
    allowed = np.log(prior.solid_angle_sr * 2.0 * np.pi * 2.0 * prior.scale_tolerance * prior.parities)
    return float(min(volume - allowed, 0.0))
