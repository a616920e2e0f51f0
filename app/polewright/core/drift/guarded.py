"""What a drift is worth when its declination may have been guided: what right ascension and the turning field say.

A guider in declination keeps that still, whatever the axis does. It cannot keep the field from turning, nor, as long
as the drive runs free, the stars from running ahead or behind. Both are weak over minutes (a turn of the field is
known 50 times worse than a place, and periodic error hides the rest), and strong over hours.

Decided 2026-11-29. A declination that stands still is believed as far as these two bear it out, or a nudge does
(core/drift/nudge.py): the covariance is theirs, about the axis of the declination, and where they contradict it the
drift is refused. The night goes on by itself, and proves, only where a nudge has stayed or the declination moves
(`DriftReading.open`); the person may go on with what is stated. Refusing every still declination was rejected: a good
alignment looks like that. Believing the person was rejected: of 200 mounts guided in declination and 13' off, whose
person said that nothing guides, 90 were taken for aligned ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from polewright.core.covariance import Covariance, covariance_of
from polewright.core.drift.fit import step_without_declination
from polewright.core.drift.live import DriftProof, DriftResult, drift_data, unknown_in
from polewright.core.drift.nudge import Nudge
from polewright.core.drift.reasons import MayBeHeld
from polewright.core.sky.places import east_and_up, pole_enu

CONTRADICTS_CHI2 = 13.8  # one in a thousand by chance, two degrees of freedom


@dataclass(frozen=True)
class Guarded:
    """The axis (east, up), rad, without the declination, and its covariance, rad^2."""

    east_rad: float
    up_rad: float
    covariance_rad2: Covariance


def may_be_held(result: DriftResult) -> bool:
    """Whether the declination shows nothing that a guided one would not."""
    return result.still and result.nudge is not Nudge.STAYED


def guarded(proof: DriftProof, result: DriftResult) -> Guarded:
    """What the frames of a drift that tells an axis say without their declination, seen from there."""
    data, _ = drift_data(proof)
    assert data is not None
    up = east_and_up(pole_enu(proof.site, proof.atmosphere, proof.target), proof.site)[1]
    step, covariance = step_without_declination(data, np.array(result.axis_enu), up)
    return Guarded(result.east_rad + float(step[0]), result.up_rad + float(step[1]), covariance_of(covariance))


def contradicts(told: Guarded, result: DriftResult, stated: Covariance) -> bool:
    """Whether the declination stands still on an axis that the rest of the frames excludes, by all that the axis of
    the declination is doubted by (`stated`): wander, tube and base move it on a free mount too."""
    apart = np.array([told.east_rad - result.east_rad, told.up_rad - result.up_rad])
    covariance = np.array(told.covariance_rad2) + np.array(stated)
    return float(apart @ np.linalg.solve(covariance, apart)) > CONTRADICTS_CHI2


def guarded_covariance(told: Guarded, result: DriftResult) -> Covariance:
    """Covariance (2, 2), rad^2, about the axis of the declination, of a mount that may be guided."""
    apart = np.array([told.east_rad - result.east_rad, told.up_rad - result.up_rad])
    return covariance_of(np.array(told.covariance_rad2) + np.outer(apart, apart))


def believed(result: DriftResult, told: Guarded | None, shown: Covariance) -> DriftResult:
    """The same, as far as the rest of the frames (`told`) bears it out where a guider may have held it. `shown`: the
    part of the covariance that its frames show; what they hide (base, tube, air), no guider takes away."""
    if told is None:
        return result
    hidden = np.array(result.covariance_rad2) - np.array(shown)
    covariance = covariance_of(np.array(guarded_covariance(told, result)) + hidden)
    doubts = (*result.warnings, MayBeHeld(result.sigma_rad))
    return replace(result, covariance_rad2=covariance, unknown=unknown_in(np.array(covariance)), warnings=doubts)
