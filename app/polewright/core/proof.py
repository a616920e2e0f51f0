"""The proof: a second turn about the RA axis, independent of the first, has the last word.

The result of following (from the first turn) and the second turn are combined where they agree; the frames that each
rests on are different ones.
"""

from __future__ import annotations

import math

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.capture_frames import places
from polewright.core.done import SURE_ENOUGH, Offset, probability_inside
from polewright.core.measured import covariance_of
from polewright.core.states import NightState

AGREE_CHI2 = 9.2  # 1 % by chance with two degrees of freedom
PROOF_SHARE = 1.0 / 3.0
FLEXURE_RAD = 2.0 / ARCSEC_PER_RAD  # two turns over different sky differ by this much even without noise


def proof_offset(state: NightState) -> Offset | None:
    """What the second turn says."""
    axis = state.proof.axis
    if axis is None:
        return None
    return Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2, len(axis.frames))


def disagreement_chi2(state: NightState) -> float | None:
    """Squared distance, in sigmas, between following and the second turn; None while one of them is missing."""
    first, second = state.offset, proof_offset(state)
    if first is None or second is None:
        return None
    covariance = np.array(first.covariance_rad2) + np.array(second.covariance_rad2) + np.eye(2) * FLEXURE_RAD**2
    apart = np.array([second.east_rad - first.east_rad, second.up_rad - first.up_rad])
    return float(apart @ np.linalg.solve(covariance, apart))


def combined_offset(state: NightState) -> Offset | None:
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


def proof_confirms(state: NightState) -> bool:
    """The axis is inside the tolerance with 95 % by all that is known, and the second turn does not deny it."""
    both, second = combined_offset(state), proof_offset(state)
    if both is None or second is None or state.plan is None or state.proof.axis is None:
        return False
    if state.proof.axis.suspect is not None:
        return False
    return probability_inside(both, state.plan.tolerance_rad) >= SURE_ENOUGH


def proof_contradicts(state: NightState) -> bool:
    """The second turn is sure enough, and puts the axis outside or on the edge of the tolerance."""
    second = proof_offset(state)
    if second is None or state.plan is None or state.proof.axis is None or state.proof.axis.suspect is not None:
        return False
    sure = second.sigma_rad <= PROOF_SHARE * state.plan.tolerance_rad and len(places(state.proof)) >= 3
    clearly = probability_inside(second, state.plan.tolerance_rad) < 0.02 and len(places(state.proof)) >= 3
    return (sure and not proof_confirms(state)) or clearly


def proof_sigma_rad(state: NightState) -> float:
    """Total sigma of the second turn; infinite before there is one."""
    second = proof_offset(state)
    return math.inf if second is None else second.sigma_rad
