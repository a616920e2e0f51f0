"""Readings of the axis while nobody touches the mount: is it at rest, and where.

A reading's covariance has two parts: what the capture left uncertain, common to all of them, and its own noise. Only
the second averages out, and only the second counts when two readings are compared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.offset import Covariance, Offset

KEPT_READINGS = 12  # averaged at rest; more would remember a place that has crept (chosen)
MOVED_CHI2 = 25.0  # two readings this far apart (2 degrees of freedom) are a motion: 4e-6 by chance
DRIFT_CHI2 = 9.2  # 1 % by chance: older readings are let go
FLOOR_RAD = 1.0 / ARCSEC_PER_RAD  # seeing and the mount itself move by about an arcsecond
SETTLE_S = 4.0  # common practice, no source: wait 2 to 5 s after a hand was on the mount


@dataclass(frozen=True)
class Reading:
    """One reading of the axis: arrival time, (east, up) in rad, whole covariance; `move`: first after a motion."""

    at_s: float
    east_rad: float
    up_rad: float
    covariance_rad2: Covariance
    move: bool = False


@dataclass(frozen=True)
class Rest:
    """The latest readings that agree with each other, oldest first."""

    readings: tuple[Reading, ...] = ()

    @property
    def last(self) -> Reading | None:
        return self.readings[-1] if self.readings else None


def add_reading(rest: Rest, reading: Reading, shared: Covariance) -> tuple[Rest, bool]:
    """The rest with one more reading, and whether the axis has moved since (then a new rest begins)."""
    if not rest.readings:
        return Rest((reading,)), False
    mean = rest_offset(rest, shared)
    assert mean is not None
    chi2 = _apart(mean, reading, shared)
    if chi2 > MOVED_CHI2:
        return Rest((reading,)), True
    kept = rest.readings[-(KEPT_READINGS - 1) :] if chi2 <= DRIFT_CHI2 else rest.readings[-1:]
    return Rest((*kept, reading)), False


def shifted_rest(rest: Rest, raised_rad: float) -> Rest:
    """The same readings against a pole that stands higher by so much."""
    return Rest(tuple(replace(r, up_rad=r.up_rad - raised_rad) for r in rest.readings))


def rest_offset(rest: Rest, shared: Covariance) -> Offset | None:
    """The mean of the readings with its covariance; None without any."""
    count = len(rest.readings)
    if not count:
        return None
    east = math.fsum(r.east_rad for r in rest.readings) / count
    up = math.fsum(r.up_rad for r in rest.readings) / count
    ee, eu, uu = _own(rest, shared)
    cross = shared[0][1] + eu / count
    return Offset(east, up, ((shared[0][0] + ee / count, cross), (cross, shared[1][1] + uu / count)), count)


def own_sigmas_rad(rest: Rest, shared: Covariance) -> tuple[float, float]:
    """Sigma of the mean in east and up without the common part: what counts in a difference of two rests."""
    count = max(len(rest.readings), 1)
    ee, _, uu = _own(rest, shared)
    return math.sqrt(ee / count), math.sqrt(uu / count)


def _own(rest: Rest, shared: Covariance) -> tuple[float, float, float]:
    """Mean covariance of one reading's own noise (ee, eu, uu), never below the floor, nor below the scatter seen."""
    count = max(len(rest.readings), 1)
    floor = FLOOR_RAD**2
    ee = math.fsum(r.covariance_rad2[0][0] - shared[0][0] for r in rest.readings) / count
    eu = math.fsum(r.covariance_rad2[0][1] - shared[0][1] for r in rest.readings) / count
    uu = math.fsum(r.covariance_rad2[1][1] - shared[1][1] for r in rest.readings) / count
    ee, uu = max(ee, floor), max(uu, floor)
    limit = 0.95 * math.sqrt(ee * uu)
    eu = min(max(eu, -limit), limit)
    if count >= 4:
        east = math.fsum(r.east_rad for r in rest.readings) / count
        up = math.fsum(r.up_rad for r in rest.readings) / count
        ee = max(ee, math.fsum((r.east_rad - east) ** 2 for r in rest.readings) / (count - 1))
        uu = max(uu, math.fsum((r.up_rad - up) ** 2 for r in rest.readings) / (count - 1))
    return ee, eu, uu


def _apart(mean: Offset, reading: Reading, shared: Covariance) -> float:
    """Squared distance in sigmas between a mean and a new reading, common part left out."""
    own = _own(Rest((reading,)), shared)
    ee = mean.covariance_rad2[0][0] - shared[0][0] + own[0]
    eu = mean.covariance_rad2[0][1] - shared[0][1] + own[1]
    uu = mean.covariance_rad2[1][1] - shared[1][1] + own[2]
    de, du = reading.east_rad - mean.east_rad, reading.up_rad - mean.up_rad
    determinant = ee * uu - eu * eu
    return (uu * de * de - 2.0 * eu * de * du + ee * du * du) / determinant
