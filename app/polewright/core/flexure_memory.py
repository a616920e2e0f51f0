"""How a rig bends, night after night: kept with the rig like its screws and locks.

A night counts once, by what its two turns of the RA axis told of sag and pull, whatever was believed before. What is
learned is the posterior over the nights from the usual prior; a night that lies far from the others counts less,
and how far the nights scatter beyond their own errors stays in the sigma: tonight may do the same.

Decided 2026-11-29. Three nights before a rig is believed. One or two nights cannot show that they agree, and a prior
that is narrowed too early makes a proof believe itself. Two nights in a row that contradict all before them are
another rig (a new clamp, another cable): what was learned is forgotten, and they are the beginning.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.covariance import Covariance, FloatArray
from polewright.core.errors import RecordingError
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.plain import from_plain, to_plain

KEPT_NIGHTS = 12  # chosen: a rig is laid anew now and then, and a year of fair nights is enough
LEAST_NIGHTS = 3  # two cannot show which of them is odd
ODD_CHI2 = 6.0  # of two numbers, 5 % by chance (chosen): a night beyond it counts less, by as much as it is beyond
# what balance, focus and temperature change from night to night, as if four nights had told it already (chosen; the
# next of 300 simulated rigs lies inside the 95 % in 95 %: tests/unit/test_flexure_memory.py)
USUAL_SCATTER_RAD, USUAL_NIGHTS, LEAST_SCATTER_RAD = 4.0 / ARCSEC_PER_RAD, 4.0, 2.0 / ARCSEC_PER_RAD
OTHER_RIG_CHI2 = 13.8  # 0.1 % by chance, and two nights in a row
LARGEST_RAD = 600.0 / ARCSEC_PER_RAD  # beyond it nothing bends, something slips
_ROUNDS = 8


@dataclass(frozen=True)
class NightBend:
    """What the two turns of one night told by themselves: sag (rad), pull (rad per rad) and their covariance.

    `night`: the name of its folder, "" where an older profile kept none.
    """

    sag_rad: float
    pull: float
    covariance: Covariance
    night: str = ""

    @property
    def told(self) -> FloatArray:
        """(2,): sag and pull."""
        return np.array([self.sag_rad, self.pull])


@dataclass(frozen=True)
class FlexureMemory:
    """`nights`, oldest first."""

    nights: tuple[NightBend, ...] = ()

    @property
    def flexure(self) -> Flexure:
        """What to expect tonight; the usual prior before enough nights have told."""
        if len(self.nights) < LEAST_NIGHTS:
            return Flexure(nights=len(self.nights))
        mean, covariance = _learned(self.nights)
        sag, pull = (float(math.sqrt(covariance[i, i])) for i in (0, 1))
        return Flexure(
            float(mean[0]),
            min(sag, FLEXURE_PRIOR.sag_sigma_rad),
            float(mean[1]),
            min(pull, FLEXURE_PRIOR.pull_sigma),
            len(self.nights),
            float(covariance[0, 1]) / (sag * pull),
        )

    def with_night(self, bend: NightBend) -> FlexureMemory:
        """This memory and one more night, in place of what the same night told before; what a changed rig has taught
        is forgotten."""
        if max(abs(bend.sag_rad), abs(bend.pull)) > LARGEST_RAD:
            return self
        others = tuple(night for night in self.nights if not bend.night or night.night != bend.night)
        nights = (*others, bend)[-KEPT_NIGHTS:]
        old = nights[:-2]
        changed = len(old) >= LEAST_NIGHTS and all(_contradicts(old, night) for night in nights[-2:])
        return FlexureMemory(nights[-2:] if changed else nights)

    def to_dict(self) -> dict[str, object]:
        """Plain values for the rig's profile (JSON)."""
        result: dict[str, object] = to_plain(self)
        return result

    @staticmethod
    def from_dict(data: object) -> FlexureMemory:
        """The memory of such values; RecordingError when they are damaged."""
        memory = from_plain(FlexureMemory, data)
        if not all(_sound(night) for night in memory.nights):
            raise RecordingError("The memory of the flexure holds a night that no tube makes.")
        return memory


NEW_FLEXURE = FlexureMemory()


def _sound(night: NightBend) -> bool:
    (a, b), (c, d) = night.covariance
    numbers = (night.sag_rad, night.pull, a, b, c, d)
    small = all(math.isfinite(n) and abs(n) <= LARGEST_RAD for n in numbers)
    return small and b == c and a > 0.0 and d > 0.0 and a * d > b * b


def _contradicts(before: Sequence[NightBend], night: NightBend) -> bool:
    mean, covariance = _learned(before)
    apart = night.told - mean
    return float(apart @ np.linalg.solve(covariance + np.array(night.covariance), apart)) > OTHER_RIG_CHI2


def _learned(nights: Sequence[NightBend]) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance (sag, pull) to expect of the next night: the posterior, and the scatter of the nights."""
    prior = np.diag([FLEXURE_PRIOR.sag_sigma_rad**-2, FLEXURE_PRIOR.pull_sigma**-2])
    told = np.array([night.told for night in nights])
    own = np.array([night.covariance for night in nights])
    scatter = np.full(2, USUAL_SCATTER_RAD)
    weight = np.ones(len(nights))
    for _ in range(_ROUNDS):
        information = np.linalg.inv(own + np.diag(scatter**2)) * weight[:, None, None]
        covariance = np.linalg.inv(prior + information.sum(axis=0))
        mean = covariance @ np.einsum("nij,nj->i", information, told)
        apart = told - mean
        chi2 = np.einsum("ni,nij,nj->n", apart, np.linalg.inv(own + np.diag(scatter**2)), apart)
        weight = np.minimum(1.0, ODD_CHI2 / np.maximum(chi2, 1e-9))
        scatter = _scatter(apart, own, weight)
    return mean, np.asarray(covariance + np.diag(scatter**2))


def _scatter(apart: FloatArray, own: FloatArray, weight: FloatArray) -> FloatArray:
    """(2,): how far the nights lie apart beyond their own errors."""
    beyond = (weight[:, None] * (apart**2 - np.diagonal(own, axis1=1, axis2=2))).sum(axis=0)
    variance = (USUAL_NIGHTS * USUAL_SCATTER_RAD**2 + beyond) / (USUAL_NIGHTS + len(apart) - 1.0)
    return np.asarray(np.sqrt(np.maximum(variance, LEAST_SCATTER_RAD**2)))
