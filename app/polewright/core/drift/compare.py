"""The axis by drift beside the axis by turning: do they agree, and if not, what may have come between them.

Both see the same axis through the same star places. What they do not share: a tube that sags makes either see it too
low, by sag * cos(latitude) * cos(distance from the axis), so that the two differ when they looked at different
distances; a slipped declination clutch spoils a turn; the base may have moved between the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.reasons import Unknown
from polewright.core.model import Atmosphere, Site
from polewright.core.offset import Covariance
from polewright.core.sky.places import refraction_rad

UNMODELLED_RAD = 3.0 / ARCSEC_PER_RAD  # air and flexure that no covariance knows of, one axis
AGREE_CHI2 = 9.2  # 1 % by chance with two degrees of freedom
LARGEST_SAG_RAD = 60.0 / ARCSEC_PER_RAD  # of a tube against its mount over half a sky: common practice, no source


class DriftWord(Protocol):
    """The axis by drift, against the target pole: a DriftResult, or what a night keeps of one."""

    @property
    def east_rad(self) -> float: ...
    @property
    def up_rad(self) -> float: ...
    @property
    def covariance_rad2(self) -> Covariance: ...
    @property
    def unknown(self) -> Unknown | None: ...
    @property
    def disturbed(self) -> bool: ...


class Cause(Enum):
    """What is likely to have come between the two."""

    NONE = "they agree"
    DRIFT_DISTURBED = "the drift was disturbed"
    FLEXURE = "the tube sags"
    REFRACTION = "the air was left out"
    SLIP = "a clutch slipped or the axis moved"


@dataclass(frozen=True)
class Comparison:
    """Drift minus turn, rad on the sky, how unlikely that is, and what it comes from, probably."""

    east_rad: float
    up_rad: float
    chi2: float
    agree: bool
    cause: Cause


def compare_with_turn(
    drift: DriftWord,
    turn_east_rad: float,
    turn_up_rad: float,
    turn_covariance_rad2: Covariance,
    site: Site,
    atmosphere: Atmosphere,
    turn_suspect: str | None = None,
) -> Comparison:
    """The comparison; the offsets are against the same pole. `turn_suspect` is the frame that the turn itself doubts.

    A component that the drift does not know does not count.
    """
    apart, covariance, chi2 = _apart(drift, turn_east_rad, turn_up_rad, turn_covariance_rad2)
    agree = chi2 <= AGREE_CHI2
    sigma = np.sqrt(np.diag(covariance))
    cause = Cause.NONE if agree else _cause(drift, apart, sigma, site, atmosphere, turn_suspect)
    return Comparison(float(apart[0]), float(apart[1]), chi2, agree, cause)


def words_agree(drift: DriftWord, east_rad: float, up_rad: float, covariance_rad2: Covariance) -> bool:
    """Whether the drift and another word on the same axis, against the same pole, can both be right."""
    return _apart(drift, east_rad, up_rad, covariance_rad2)[2] <= AGREE_CHI2


def _apart(
    drift: DriftWord, east_rad: float, up_rad: float, covariance_rad2: Covariance
) -> tuple[np.ndarray, np.ndarray, float]:
    """Drift minus the other word (2,), the covariance of that (2, 2), and its squared length in sigmas."""
    apart = np.array([drift.east_rad - east_rad, drift.up_rad - up_rad])
    covariance = np.array(drift.covariance_rad2) + np.array(covariance_rad2) + np.eye(2) * UNMODELLED_RAD**2
    return apart, covariance, float(apart @ np.linalg.solve(covariance, apart))


def _cause(
    drift: DriftWord,
    apart: np.ndarray,
    sigma: np.ndarray,
    site: Site,
    atmosphere: Atmosphere,
    turn_suspect: str | None,
) -> Cause:
    if drift.disturbed:
        return Cause.DRIFT_DISTURBED
    if turn_suspect is not None:
        return Cause.SLIP
    east_quiet = abs(apart[0]) < 2.5 * sigma[0]
    lifted = refraction_rad(abs(float(np.radians(site.lat_deg))), atmosphere)
    if east_quiet and abs(abs(apart[1]) - lifted) < 2.0 * sigma[1] and lifted > 3.0 * sigma[1]:
        return Cause.REFRACTION
    if east_quiet and abs(apart[1]) <= LARGEST_SAG_RAD:
        return Cause.FLEXURE
    return Cause.SLIP
