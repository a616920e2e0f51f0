"""The coach of a proof by a second turn: where to take it, what it contradicts, and where it can tell no more."""

from __future__ import annotations

import math

from polewright.core.axis_reasons import Mishap, MishapFound, is_disagreement
from polewright.core.budget import Nuisance, Part
from polewright.core.joint import Joint
from polewright.core.night.advice import (
    Contradiction,
    DoesNotFit,
    ElsewhereWanted,
    FloorReached,
    ProofContradicts,
    ProofLimited,
)
from polewright.core.night.elsewhere import declination_moved_rad
from polewright.core.night.states import Running
from polewright.core.night.turning.coach import advise_turn
from polewright.core.night.witness import (
    CONTRADICTS_CHI2,
    combined_offset,
    contradicts,
    floor_reached,
    limited,
    mount_floor_rad,
    together,
    turned_over,
)
from polewright.core.offset import PROVED, least_rad

SETTLES_S = 20.0 * 60.0  # a tripod on soft ground creeps for so long (common practice, no source)
OTHER_SKY_RAD = math.radians(10.0)
FARTHEST_RAD = math.radians(1.0)


def advise_proof(state: Running) -> ElsewhereWanted | ProofContradicts | ProofLimited | FloorReached | None:
    """What comes before the next place of the second turn, if anything does."""
    if state.second_sky is not None:
        return _elsewhere(state)
    both = together(state)
    if both is None:
        return None
    if floor_reached(state, both):
        return _floor(state)
    doubted = _doubted_again(state)
    if contradicts(state, both) or (doubted and both.least_chi2 > CONTRADICTS_CHI2):
        return _contradicts(state, both)
    return _limited(state, both) if doubted or limited(state, both) else None


def _doubted_again(state: Running) -> bool:
    """The places do not agree although the clutch was tightened: asking once more would tell nothing new."""
    return state.doubted and isinstance(advise_turn(state, state.proof), DoesNotFit)


def _elsewhere(state: Running) -> ElsewhereWanted:
    sky = state.second_sky
    assert sky is not None
    here = sky.from_declination_deg
    toward = state.plan.side * (sky.declination_deg - here)
    third = state.capture.combined and not state.refuted
    return ElsewhereWanted(sky.hour_angle_h, sky.declination_deg, here, toward, third)


def _contradicts(state: Running, both: Joint) -> ProofContradicts:
    first, axis, offset = state.offset, state.proof.axis, combined_offset(state, both)
    assert first is not None and axis is not None and offset is not None
    apart = math.hypot(axis.east_rad - first.east_rad, axis.up_rad - first.up_rad)
    cause = likely_cause(state, both)
    name = {Contradiction.SAG: Nuisance.SAG, Contradiction.PULL: Nuisance.PULL}.get(cause)
    bend = both.nuisance(name) if name is not None else None
    bend_rad = abs(bend[0]) if bend is not None else 0.0
    return ProofContradicts(cause, apart, bend_rad, offset, state.plan.tolerance_rad)


def _floor(state: Running) -> FloorReached:
    return FloorReached(mount_floor_rad(state), state.plan.tolerance_rad, True, state.handling.turns_made)


def likely_cause(state: Running, both: Joint) -> Contradiction:
    """What bends, where that explains it; else what the turns show, or what may have come in between."""
    warnings = [w for turn in (state.capture, state.proof) if turn.axis is not None for w in turn.axis.warnings]
    if both.least_chi2 <= CONTRADICTS_CHI2:
        return _bend(state, both)
    if any(isinstance(w, MishapFound) and w.mishap is Mishap.SLIPS for w in warnings):
        return Contradiction.CLUTCH
    if any(map(is_disagreement, warnings)):
        return Contradiction.WOBBLE
    if turned_over(state):
        return Contradiction.FLOP
    settling = state.now_s - state.set_down_s < SETTLES_S
    return Contradiction.TRIPOD if settling else Contradiction.WOBBLE


def _bend(state: Running, both: Joint) -> Contradiction:
    """Sag or pull, whichever is further from what was expected."""
    flexure = state.plan.flexure
    assert flexure is not None
    sag, pull = both.nuisance(Nuisance.SAG), both.nuisance(Nuisance.PULL)
    by_sag = 0.0 if sag is None else abs(sag[0]) / max(flexure.sag_sigma_rad, 1e-12)
    by_pull = 0.0 if pull is None else abs(pull[0]) / max(flexure.pull_sigma, 1e-12)
    return Contradiction.SAG if by_sag > by_pull else Contradiction.PULL


def _limited(state: Running, both: Joint) -> ProofLimited:
    offset = both.offset
    assert offset.budget is not None
    first, second = state.capture.frames[0], state.proof.frames[0]
    return ProofLimited(
        offset.sigma_rad,
        offset.budget.sigma_rad(Part.FLEXURE),
        reach_rad(both),
        state.plan.tolerance_rad,
        declination_moved_rad(state, first, second) < OTHER_SKY_RAD,
        0 if state.plan.flexure is None else state.plan.flexure.nights,
    )


def reach_rad(both: Joint) -> float:
    """The smallest tolerance that two turns as sure as these prove, with the axis where it is believed."""
    return least_rad(FARTHEST_RAD, lambda tolerance: both.inside(tolerance) >= PROVED)
