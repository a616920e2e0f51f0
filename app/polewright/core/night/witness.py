"""The proof: a second turn about the RA axis, independent of the first, has the last word.

The result of following (from the first turn) and the second turn are combined where they agree; the frames that each
rests on are different ones.
"""

from __future__ import annotations

import math

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.drift.compare import AGREE_CHI2
from polewright.core.night.drifting.actions import both_offset, opposed
from polewright.core.night.states import Running, Stage
from polewright.core.night.turning.places import PLACES_WANTED, places
from polewright.core.offset import PROVED, WORTH_SHARE, Offset, covariance_of, good_enough, probability_inside

PROOF_SHARE = 1.0 / 3.0  # of the tolerance: a second turn this sure may overrule the first
CLEARLY_OUTSIDE = 0.02  # probability of being inside below which no further frame is awaited
FLEXURE_RAD = 2.0 / ARCSEC_PER_RAD  # two turns over different sky differ by this much even without noise


def proof_offset(state: Running) -> Offset | None:
    """What the second turn says."""
    axis = state.proof.axis
    if axis is None:
        return None
    return Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2, len(axis.frames))


def disagreement_chi2(state: Running) -> float | None:
    """Squared distance, in sigmas, between following and the second turn; None while one of them is missing."""
    first, second = state.offset, proof_offset(state)
    if first is None or second is None:
        return None
    covariance = np.array(first.covariance_rad2) + np.array(second.covariance_rad2) + np.eye(2) * FLEXURE_RAD**2
    apart = np.array([second.east_rad - first.east_rad, second.up_rad - first.up_rad])
    return float(apart @ np.linalg.solve(covariance, apart))


def combined_offset(state: Running) -> Offset | None:
    """Both together where they agree, the second turn alone where they do not."""
    first, second = state.offset, proof_offset(state)
    chi2 = disagreement_chi2(state)
    if first is None or second is None or chi2 is None or chi2 > AGREE_CHI2:
        return second
    floor = np.eye(2) * FLEXURE_RAD**2 / 2.0
    information = [np.linalg.inv(np.array(o.covariance_rad2) + floor) for o in (first, second)]
    covariance = np.linalg.inv(information[0] + information[1])
    mean = covariance @ sum(i @ np.array([o.east_rad, o.up_rad]) for i, o in zip(information, (first, second)))
    return Offset(float(mean[0]), float(mean[1]), covariance_of(covariance), second.readings)


def proof_confirms(state: Running) -> bool:
    """The second turn is complete, and by all that is known the axis is inside the tolerance."""
    both = combined_offset(state)
    if both is None or not _complete(state):
        return False
    if proof_sigma_rad(state) > WORTH_SHARE * state.plan.tolerance_rad:
        return False
    return good_enough(both, state.plan.tolerance_rad, sure=PROVED)


def proof_contradicts(state: Running) -> bool:
    """The second turn is complete and sure enough, and the axis is not well inside the tolerance."""
    second = proof_offset(state)
    if second is None or not _complete(state) or proof_confirms(state):
        return False
    sure = second.sigma_rad <= PROOF_SHARE * state.plan.tolerance_rad
    return sure or probability_inside(second, state.plan.tolerance_rad) < CLEARLY_OUTSIDE


def _complete(state: Running) -> bool:
    """Three places, and no frame that does not fit."""
    axis = state.proof.axis
    return axis is not None and axis.suspect is None and len(places(state.proof)) >= PLACES_WANTED


def proof_sigma_rad(state: Running) -> float:
    """Total sigma of the second turn; infinite before there is one."""
    second = proof_offset(state)
    return math.inf if second is None else second.sigma_rad


def witnessed_offset(state: Running) -> Offset | None:
    """Where the axis is by all that the proof has to say so far, drift or turn.

    None where it says nothing, or where a drift stands alone against what puts the axis outside.
    """
    if state.stage is not Stage.PROOF or opposed(state):
        return None
    return combined_offset(state) if state.drift is None else both_offset(state)
