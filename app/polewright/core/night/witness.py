"""The proof: a second turn about the RA axis, over another sky than the first, has the last word.

The result of following (from the first turn) and the second turn are taken together with what may bend alike in both
(core/joint.py). Where no budget is known, as in older records, they are combined where they agree.
"""

from __future__ import annotations

import math

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.bending import learned
from polewright.core.budget import Budget, Nuisance, Part
from polewright.core.covariance import nearest_covariance
from polewright.core.drift.compare import AGREE_CHI2
from polewright.core.flexure import SURPRISE
from polewright.core.flexure_memory import NightBend
from polewright.core.joint import Joint, Word, bending_alone, joint
from polewright.core.model import FloatArray
from polewright.core.night.drifting.actions import both_offset, opposed
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import NightState, Running, Stage
from polewright.core.night.turning.places import PLACES_WANTED, places
from polewright.core.offset import (
    PROVED,
    SURE_ENOUGH,
    WORTH_SHARE,
    Offset,
    covariance_of,
    floor_rad,
    good_enough,
    probability_inside,
)

PROOF_SHARE = 1.0 / 3.0  # of the tolerance: a second turn this sure may overrule the first
VAGUE = 4.0  # times what was known, or is asked for; chosen: a drift that sure can still prove in minutes
CLEARLY_OUTSIDE = 0.02  # probability of being inside below which no further frame is awaited
CONTRADICTS_CHI2 = 13.8  # 0.1 % by chance with two degrees of freedom
MOST_RETURNS, LIKELY = 2, 0.5  # chosen: after two returns to the screws, an axis rather inside is taken as it is
FLEXURE_RAD = 2.0 / ARCSEC_PER_RAD  # two turns over different sky differ by this much even without noise


def proof_offset(state: Running) -> Offset | None:
    """What the second turn says."""
    axis = state.proof.axis
    if axis is None:
        return None
    return Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2, len(axis.frames), axis.budget)


def disagreement_chi2(state: Running) -> float | None:
    """Squared distance, in sigmas, between following and the second turn; None while one of them is missing."""
    first, second = state.offset, proof_offset(state)
    if first is None or second is None:
        return None
    covariance = np.array(first.covariance_rad2) + np.array(second.covariance_rad2) + np.eye(2) * FLEXURE_RAD**2
    apart = np.array([second.east_rad - first.east_rad, second.up_rad - first.up_rad])
    return float(apart @ np.linalg.solve(covariance, apart))


def together(state: Running) -> Joint | None:
    """Following and the second turn with all that both may share; None where one of them knows of the stars only."""
    words, flexure = _words(state), state.plan.flexure
    return None if words is None else joint(*words, SURPRISE if flexure is None else flexure.surprise)


def tonights_bend(state: Running) -> NightBend | None:
    """What two complete turns tell of sag and pull by themselves; None where the first is not a turn of its own."""
    words, flexure = _words(state), state.plan.flexure
    if words is None or flexure is None or state.capture.combined or not _complete(state):
        return None
    told, covariance = bending_alone(*words)
    alone = learned(flexure, told, covariance, flexure.surprise)
    tied = alone.correlation * alone.sag_sigma_rad * alone.pull_sigma
    return NightBend(alone.sag_rad, alone.pull, ((alone.sag_sigma_rad**2, tied), (tied, alone.pull_sigma**2)))


def _words(state: Running) -> tuple[Word, Word, tuple[Nuisance, ...]] | None:
    """What following and the second turn say, and what they do not share."""
    first, second = state.offset, proof_offset(state)
    axis = state.proof.axis
    if first is None or second is None or axis is None or first.budget is None or axis.budget is None:
        return None
    shaken = usual_shaking_rad2(state)
    followed = Word(np.array([first.east_rad, first.up_rad]), _shaken(_followed(first, first.budget), shaken))
    turned = Word(np.array([second.east_rad, second.up_rad]), _shaken(axis.budget, shaken))
    return followed, turned, (Nuisance.PULL,) if turned_over(state) else ()


def usual_shaking_rad2(state: Running) -> float:
    """Variance of the axis by a turn of this mount tonight, one direction: the mean over all turns so far."""
    return sum(state.shaken_rad2) / len(state.shaken_rad2) if state.shaken_rad2 else 0.0


def _shaken(budget: Budget, usual_rad2: float) -> Budget:
    """The budget of a turn that happens to show less than what turns scatter by tonight, widened to that."""
    own = budget.by_chance
    hidden = max(usual_rad2 - 0.5 * (own[0][0] + own[1][1]), 0.0)
    return budget.with_chance(Part.SETTLING, ((hidden, 0.0), (0.0, hidden))) if hidden > 0.0 else budget


def _followed(offset: Offset, budget: Budget) -> Budget:
    """The budget of the first turn, and what the readings since add to it by chance."""
    more = np.array(offset.covariance_rad2) - np.array(budget.whole)
    return budget.with_chance(Part.STARS, covariance_of(nearest_covariance(more)))


def turned_over(state: Running) -> bool:
    """Whether the telescope hangs on the other side of its pier than in the first turn: the axis lies on the other
    side of the picture."""
    if not state.capture.frames or not state.proof.frames:
        return False
    sides = [_axis_on_picture(state, turn.frames[0]) for turn in (state.capture, state.proof)]
    return float(sides[0] @ sides[1]) < 0.0


def _axis_on_picture(state: Running, frame: PlacedFrame) -> FloatArray:
    return np.asarray((np.array(frame.camera_to_enu).T @ state.plan.pole)[:2])


def combined_offset(state: Running, bent: Joint | None) -> Offset | None:
    """Both together where they agree, the second turn alone where they do not; `bent`: `together(state)`."""
    if bent is not None:
        return bent.offset if bent.least_chi2 <= CONTRADICTS_CHI2 else proof_offset(state)
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
    return _complete(state) and _confirms(state, together(state))


def proof_outside(state: Running) -> bool:
    """The second turn is complete and sure enough, and the axis is not well inside the tolerance: back to the screws,
    where they can help. A contradiction is told first."""
    return _complete(state) and _outside(state, together(state))


def contradicted(state: Running) -> bool:
    """The two turns differ by more than what usually bends, and that leaves the alignment open."""
    return _complete(state) and contradicts(state, together(state))


def third_sky_wanted(state: Running) -> bool:
    """The two turns leave it open how the tube bends: a third sky may decide, once."""
    return _complete(state) and not state.capture.combined and limited(state, together(state))


def _confirms(state: Running, bent: Joint | None) -> bool:
    both, tolerance_rad = combined_offset(state, bent), state.plan.tolerance_rad
    if both is None or chance_sigma_rad(state) > WORTH_SHARE * tolerance_rad:
        return False
    if bent is None:
        return good_enough(both, tolerance_rad, sure=PROVED)
    return bent.least_chi2 <= CONTRADICTS_CHI2 and bent.inside(tolerance_rad) >= PROVED


def _outside(state: Running, bent: Joint | None) -> bool:
    second = proof_offset(state)
    if second is None or _confirms(state, bent) or contradicts(state, bent):
        return False
    if bent is not None:
        best, now = bent.at_best(state.plan.tolerance_rad), bent.inside(state.plan.tolerance_rad)
        if state.returns >= MOST_RETURNS and now >= LIKELY:
            return False
        return best >= PROVED or (best >= SURE_ENOUGH > now)
    sure = second.sigma_rad <= PROOF_SHARE * state.plan.tolerance_rad
    return sure or probability_inside(second, state.plan.tolerance_rad) < CLEARLY_OUTSIDE


def contradicts(state: Running, bent: Joint | None) -> bool:
    """`contradicted`, with `together(state)` at hand."""
    if bent is None or not _complete(state) or _confirms(state, bent):
        return False
    return bent.usual_chi2 > CONTRADICTS_CHI2


def limited(state: Running, bent: Joint | None) -> bool:
    """The two turns agree as well as they can, and neither screws nor further places would make it a proof."""
    if bent is None or not _complete(state) or _confirms(state, bent) or contradicts(state, bent):
        return False
    few = chance_sigma_rad(state) > PROOF_SHARE * state.plan.tolerance_rad
    return not few and not _outside(state, bent)


def floor_reached(state: Running, bent: Joint) -> bool:
    """A second contradiction in one night: it is the mount that scatters, by more than tonight bears."""
    if not state.returns or not contradicts(state, bent):
        return False
    far = bent.inside(state.plan.tolerance_rad) < CLEARLY_OUTSIDE and state.returns < MOST_RETURNS
    return not far and mount_floor_rad(state) > state.plan.tolerance_rad


def mount_floor_rad(state: Running) -> float:
    """What two turns of this mount can be sure of tonight, were the axis at its best (95 %); this one counts too."""
    turns = (*state.shaken_rad2, apart_rad2(state))
    mean_of_two = 0.5 * sum(turns) / len(turns)
    return floor_rad(Offset(0.0, 0.0, ((mean_of_two, 0.0), (0.0, mean_of_two))))


def apart_rad2(state: Running) -> float:
    """Variance of one turn, one direction, by how far the two are apart."""
    first, second = state.offset, proof_offset(state)
    if first is None or second is None:
        return 0.0
    return 0.25 * ((second.east_rad - first.east_rad) ** 2 + (second.up_rad - first.up_rad) ** 2)


def _complete(state: Running) -> bool:
    """Three places, and no frame that does not fit."""
    axis = state.proof.axis
    return axis is not None and axis.suspect is None and len(places(state.proof)) >= PLACES_WANTED


def chance_sigma_rad(state: Running) -> float:
    """Total sigma of the second turn, what both share left out; infinite before there is one."""
    second = proof_offset(state)
    if second is None:
        return math.inf
    own = second.covariance_rad2 if second.budget is None else second.budget.by_chance
    return math.sqrt(own[0][0] + own[1][1])


def told_offset(state: NightState) -> Offset | None:
    """Where the axis is, as every sentence, table and report tells it: by all that has confirmed it."""
    if not isinstance(state, Running) or state.stage is not Stage.PROOF or not state.proved:
        return state.offset
    both = together(state) if state.drift is None else None
    return both.offset if both is not None else witnessed_offset(state) or state.offset


def witnessed_offset(state: Running) -> Offset | None:
    """Where the axis is by all that the proof has to say so far, drift or turn.

    None where it says nothing, or nothing near as sure as what was known, or where a drift stands alone against what
    puts the axis outside.
    """
    if state.stage is not Stage.PROOF or opposed(state):
        return None
    if state.drift is None:
        return combined_offset(state, together(state))
    both = both_offset(state)
    return None if both is None or _vague(both, state) else both


def _vague(drift: Offset, state: Running) -> bool:
    """A drift just begun knows the axis to degrees: that is no news of one that is known to arcseconds."""
    known = state.plan.tolerance_rad if state.offset is None else state.offset.sigma_rad
    return drift.sigma_rad > VAGUE * max(known, state.plan.tolerance_rad)
