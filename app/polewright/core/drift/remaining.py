"""How much longer to watch, and where, until the drift is as sure as wanted.

What is known so far is the inverse of the covariance; watching a field at hour angle H for longer adds
(w^2 / noise^2) (S_later - S_now) h h^T with h = (cos H, sin H) and S = T^3 / (12 cadence), the spread of the times of
frames over T seconds. Noise, its memory and the cadence are those of the frames so far: seeing needs no allowance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftProof, DriftResult
from polewright.core.model import FloatArray

MOVE_S = 60.0  # what pointing elsewhere costs
NEW_FIELD_H = 5.0  # how far from the meridian the second field will be
LONGEST_S = 3.0 * 3600.0  # that is foretold; nobody watches a drift for longer (chosen)


@dataclass(frozen=True)
class Remaining:
    """Seconds still to watch: in this field, then in a second one; `component` is what the second is to tell."""

    here_s: float
    there_s: float = 0.0
    component: str = ""

    @property
    def seconds(self) -> float:
        """In all, without the time for pointing elsewhere."""
        return self.here_s + self.there_s


def remaining(proof: DriftProof, result: DriftResult, wanted_rad: float) -> Remaining:
    """What is left until the larger of the two sigmas is `wanted_rad`; 0 s when it is reached, infinite when hours
    would not do. The quickest of: staying here, going to a second field, staying for as long as watching there."""
    if result.sigma_rad <= wanted_rad:
        return Remaining(0.0)
    sure = _Certainty(
        information=np.linalg.inv(np.array(result.covariance_rad2)),
        worth=SIDEREAL_RATE_RAD_S**2 / (result.noise_rad**2 * result.inflation * 12.0 * cadence_s(proof)),
        here_rad=result.positions[-1].hour_angle_rad,
        so_far_s=result.positions[-1].seconds,
        there_rad=0.0,
    )
    there_rad, component = _other_place(sure.here_rad)
    sure = replace(sure, there_rad=there_rad)
    stay, go, both = (sure.seconds(*shares, wanted_rad) for shares in ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0)))
    ways = (
        Remaining(stay),
        Remaining(0.0, go, component),
        Remaining(both, both, component),
    )
    return min(ways, key=lambda way: way.seconds + (MOVE_S if way.component else 0.0))


def cadence_s(proof: DriftProof) -> float:
    """Usual seconds from one frame to the next."""
    gaps = [b.at_s - a.at_s for a, b in zip(proof.samples, proof.samples[1:]) if a.position == b.position]
    return float(np.median(gaps)) if gaps else 5.0


def _other_place(here_rad: float) -> tuple[float, str]:
    """Hour angle of the second field: the one that tells what this field does not."""
    off_meridian = abs(np.sin(here_rad)) > np.sin(np.radians(37.5))
    if off_meridian:
        return 0.0, "azimuth"
    side = -1.0 if here_rad <= np.radians(7.5) else 1.0
    return side * float(np.radians(15.0 * NEW_FIELD_H)), "altitude"


@dataclass(frozen=True, eq=False)
class _Certainty:
    """The inverse covariance (2, 2) so far, and what a second cubed of watching adds to it in either field."""

    information: FloatArray
    worth: float
    here_rad: float
    so_far_s: float
    there_rad: float

    def sigma_rad(self, here_s: float, there_s: float) -> float:
        """The larger sigma after watching so much longer."""
        gain_here = (self.so_far_s + here_s) ** 3 - self.so_far_s**3
        grown = self.information + self.worth * (
            gain_here * _toward(self.here_rad) + there_s**3 * _toward(self.there_rad)
        )
        return float(np.sqrt(np.diag(np.linalg.inv(grown)).max()))

    def seconds(self, here: float, there: float, wanted_rad: float) -> float:
        """How long until it is `wanted_rad`, watching here and there (1) or not (0); infinite beyond some hours."""
        if self.sigma_rad(here * LONGEST_S, there * LONGEST_S) > wanted_rad:
            return np.inf
        low, high = 0.0, LONGEST_S
        for _ in range(40):
            middle = 0.5 * (low + high)
            sure = self.sigma_rad(here * middle, there * middle) <= wanted_rad
            low, high = (low, middle) if sure else (middle, high)
        return high


def _toward(hour_rad: float) -> FloatArray:
    """(2, 2): the direction, of (east, up), that a field at this hour angle tells."""
    h = np.array([np.cos(hour_rad), np.sin(hour_rad)])
    return np.outer(h, h)
