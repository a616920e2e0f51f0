"""The coach while the two screws are turned, tightened and checked."""

from __future__ import annotations

import math
from typing import TypeGuard

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.budget import Part
from polewright.core.night.advice import (
    CaptureTooRough,
    DriftTooRough,
    FloorReached,
    LocksToLoosen,
    LocksTrial,
    LocksWanted,
    MoreFrames,
    Near,
    Plainly,
    Reason,
    ScrewLeft,
    Settling,
    Walking,
    WeakGeometry,
)
from polewright.core.night.correction.handling import at_the_locks, settled
from polewright.core.night.correction.outlook import (
    NEAR_ARCMIN,
    ScrewOutlook,
    gate_arcmin,
    locks_to_be_tried,
    next_turn,
)
from polewright.core.night.rest import SETTLE_S
from polewright.core.night.states import Running, Stage
from polewright.core.night.turning.room import hour_angle_of
from polewright.core.offset import CLOSE_ENOUGH, Offset, floor_rad, frames_until_sure, good_enough
from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import engaged, sign_sure
from polewright.core.screws.memory import ScrewRate
from polewright.core.screws.plan import SIGN_KNOWN
from polewright.core.screws.walk import GUESS_SHARE, Cue, Walk, cue

WEAK = 3.0  # a reading this many times less sure than the capture comes from a weak geometry
NEAR_MERIDIAN_RAD = math.radians(15.0)  # within it the view is as good as it gets (chosen)
PATIENT_READINGS = 10
CREEP_TURNS, CREEP_ARCMIN = 1.0 / 12.0, NEAR_ARCMIN  # below it no fraction of a turn is asked for
WORTH_A_NUMBER = 0.4  # relative sigma of a rate that can still tell how much is left


def advise_correction(state: Running) -> Reason:
    """Rough and fine correction."""
    offset = state.offset
    if offset is None:
        return Plainly.AXIS_UNKNOWN
    if not state.rest.readings:
        return Plainly.FRAME_AWAITED
    if state.handling.walk is not None:
        return _walking(state, state.handling.walk)
    if at_the_locks(state):
        return LocksTrial(state.handling.turns_made) if state.locks.as_trial else _inside(state, offset)
    if not settled(state) or state.handling.opened_at is not None:
        return _settling(state)
    return _weak_geometry(state) or _at_rest(state, offset)


def _at_rest(state: Running, offset: Offset) -> Reason:
    if state.stop_here and state.lesson is None:
        return _inside(state, offset)
    turn = next_turn(state)
    if turn is None:
        return _average(state, offset)
    if _aimless(state, offset):
        return CaptureTooRough(offset.by_frames.sigma_rad, state.plan.tolerance_rad, state.handling.turns_made)
    if state.locks.tight:
        return _loosen(state, offset)
    return LocksTrial(state.handling.turns_made) if locks_to_be_tried(state) else _turn(state, turn)


def _aimless(state: Running, offset: Offset) -> bool:
    """Whether the turn of the RA axis tells less than is left: whoever turns a screw by it turns to and fro (a tripod
    kicked between two places: 64 goes in 90 minutes, 12' off at the end, told hand, seed 601). A mount that scatters
    so tells no more the next time."""
    if _mount_scatters(state, state.plan.tolerance_rad):
        return False
    sigma_rad = math.sqrt(max(state.shared[0][0] + state.shared[1][1], 0.0))  # whatever more readings bring
    east, up = state.aim_rad
    left_rad = math.hypot(offset.east_rad - east, offset.up_rad - up)
    return not state.capture.by_drift and state.lesson is None and sigma_rad > max(left_rad, state.plan.tolerance_rad)


def _settling(state: Running) -> Settling:
    return Settling(math.ceil(max(SETTLE_S - (state.now_s - state.handling.touched_s), 0.0)))


def _walking(state: Running, walk: Walk) -> Walking | Settling:
    """The cue for the hand; how much is left where the screw is known."""
    rate = state.rate(walk.screw)
    here = walk.predicted_arcmin(state.now_s)
    per_turn = rate.at(here / 2.0) if worth_a_number(rate) else None
    left = walk.turns if per_turn is None else math.copysign(here / per_turn, walk.turns)
    small = abs(here) < CREEP_ARCMIN if per_turn is None else abs(left) < CREEP_TURNS
    told = cue(walk, state.now_s, state.handling.lead_s, small)
    if not walk.first and _to_be_sought(state, walk.screw, walk.turns):
        told = Cue.SEEK
    if told is Cue.HANDS_OFF or _just_told(state, walk):
        return _settling(state)
    across = math.cos(state.plan.pole_altitude_rad) if walk.screw is Screw.AZIMUTH else 1.0
    side = -1.0 if state.plan.southern and walk.screw is Screw.AZIMUTH else 1.0
    scale = across / ARCMIN_PER_RAD
    gone_rad = side * (here - walk.here_arcmin) * scale
    return Walking(
        walk.screw,
        told,
        left,
        per_turn is not None,
        _left_rad(state, walk.screw) + gone_rad,
        math.hypot(_sigma_rad(state, walk.screw), GUESS_SHARE * gone_rad),
        state.handling.turns_made,
        sign_sure(state.memory(walk.screw)) >= SIGN_KNOWN,
        state.aim_rad != (0.0, 0.0),
    )


def _just_told(state: Running, walk: Walk) -> bool:
    """Whether the person has said how far they turned: what is turned before the frames have shown it spoils that."""
    reports = state.handling.reports
    return bool(reports) and (not walk.moving(state.now_s) or reports[-1].at_s >= walk.at_s)


def _turn(state: Running, outlook: ScrewOutlook) -> ScrewLeft:
    plan, locks = outlook.plan, state.locks
    memory = state.memory(outlook.screw)
    return ScrewLeft(
        outlook.screw,
        plan.turns,
        plan.kind,
        _left_rad(state, outlook.screw),
        outlook.sigma_rad,
        _share_left(outlook),
        aimed=state.aim_rad != (0.0, 0.0),
        habit_rad=locks.aim_rad if locks.by_habit and state.stage is Stage.FINE else None,
        lesson=None if state.lesson is None else state.lesson.made,
        made=state.handling.turns_made,
        moves=len(memory.moves),
        walking=state.walking,
        known=worth_a_number(state.rate(outlook.screw)),
        seek=_to_be_sought(state, outlook.screw, plan.turns),
        short=state.walking and gate_arcmin(state, outlook.screw, outlook.coordinate_arcmin) != 0.0,
    )


def _left_rad(state: Running, screw: Screw) -> float:
    """As the table beside the sentence tells it."""
    left_rad = state.left_rad(screw)
    assert left_rad is not None
    return left_rad


def _sigma_rad(state: Running, screw: Screw) -> float:
    assert state.offset is not None
    (ee, _), (_, uu) = state.offset.covariance_rad2
    return math.sqrt(max(ee if screw is Screw.AZIMUTH else uu, 0.0))


def _to_be_sought(state: Running, screw: Screw, turns: float) -> bool:
    """Whether a turn that way moves nothing at once, as far as is known, or nobody knows for sure where it leads."""
    memory = state.memory(screw)
    return engaged(memory) * turns <= 0.0 or sign_sure(memory) < SIGN_KNOWN


def worth_a_number(rate: ScrewRate | None) -> TypeGuard[ScrewRate]:
    """Whether a rate is known well enough to say how much of a turn is left."""
    return rate is not None and rate.relative_sigma <= WORTH_A_NUMBER


def _share_left(outlook: ScrewOutlook) -> float | None:
    """The share of what is left that the turn will leave; None where nobody knows."""
    plan = outlook.plan
    if not math.isfinite(plan.sigma_arcmin) or not outlook.left_rad:
        return None
    return math.hypot(plan.expected_arcmin, plan.sigma_arcmin) / max(abs(outlook.coordinate_arcmin), 1e-9)


def _inside(state: Running, offset: Offset) -> Near | LocksWanted:
    tolerance_rad = state.plan.tolerance_rad
    if state.locks.tight:
        flexure = state.plan.flexure
        return Near(
            offset,
            tolerance_rad,
            open=not good_enough(offset, tolerance_rad, state.aim_rad),
            supposed=flexure is not None and flexure.supposed,
        )
    return LocksWanted(offset, tolerance_rad, state.locks.aim_rad != (0.0, 0.0), state.handling.turns_made)


def _loosen(state: Running, offset: Offset) -> LocksToLoosen:
    shift = state.locks.shift_rad
    size_rad = None if shift is None else math.hypot(*shift)
    return LocksToLoosen(size_rad, offset, state.plan.tolerance_rad, state.handling.turns_made)


def _average(
    state: Running, offset: Offset
) -> MoreFrames | FloorReached | CaptureTooRough | DriftTooRough | LocksWanted | Near:
    """Nothing left to turn, not sure yet: more frames, other sky, a better capture; a drift is proved by another."""
    tolerance_rad, made = state.plan.tolerance_rad, state.handling.turns_made
    more = frames_until_sure(offset, state.shared, tolerance_rad, state.aim_rad)
    if more is not None and len(state.rest.readings) < PATIENT_READINGS:
        return MoreFrames(offset.sigma_rad, max(more, 1), made)
    if offset.budget is not None and good_enough(offset.by_frames, tolerance_rad, state.aim_rad):
        return _inside(state, offset)
    if _mount_scatters(state, tolerance_rad) and state.locks.tight:
        return FloorReached(floor_rad(offset.by_frames), tolerance_rad, False, made)
    if not state.capture.by_drift:
        return CaptureTooRough(offset.by_frames.sigma_rad, tolerance_rad, made)
    tight = state.locks.tight
    return DriftTooRough(offset.sigma_rad, made) if tight else LocksWanted(None, tolerance_rad, False, made)


def _mount_scatters(state: Running, tolerance_rad: float) -> bool:
    """Whether the mount shook so in the turn of the RA axis that another turn would leave it as open: by more than
    the noise of the stars, and too much by itself."""
    budget = None if state.capture.axis is None else state.capture.axis.budget
    if budget is None or state.capture.by_drift:
        return False
    shaking = math.hypot(budget.sigma_rad(Part.DRIVE), budget.sigma_rad(Part.SETTLING))
    noisy = shaking > budget.sigma_rad(Part.STARS)
    by_shaking = Offset(0.0, 0.0, ((0.5 * shaking**2, 0.0), (0.0, 0.5 * shaking**2)))
    return noisy and floor_rad(by_shaking) > tolerance_rad


def _weak_geometry(state: Running) -> WeakGeometry | None:
    """The camera looks where the screws can hardly be seen: turn the RA axis toward the meridian."""
    last = state.rest.last
    if last is None or state.last_frame is None:
        return None
    own = last.covariance_rad2[0][0] + last.covariance_rad2[1][1]
    known = 0.0 if state.capture.axis is None else state.capture.axis.chance_sigma_rad**2
    enough = (CLOSE_ENOUGH * state.plan.tolerance_rad) ** 2
    away_rad = hour_angle_of(state)
    if own <= WEAK**2 * max(known, enough) or abs(away_rad) < NEAR_MERIDIAN_RAD:
        return None
    doubt = next(iter(state.reading_warnings), None)
    return WeakGeometry(math.degrees(-away_rad), math.sqrt(own), doubt, state.handling.turns_made)
