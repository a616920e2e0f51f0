"""The axis while the screws turn: the well with its marker and path, the numbers beside it, the two screw strips."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.budget import Part
from polewright.core.night.advice import Advice, Turn, Walking
from polewright.core.night.correction.coach import worth_a_number
from polewright.core.night.correction.outlook import ScrewOutlook, gate_arcmin, outlooks
from polewright.core.night.states import Running, Stage
from polewright.core.night.witness import told_offset
from polewright.core.offset import Covariance, Offset
from polewright.core.screws.angles import Screw, ScrewAngles, offset_from_angles
from polewright.core.screws.plan import TurnKind
from polewright.core.screws.walk import GUESS_SHARE
from polewright.ui.presenting.extras import Extras
from polewright.ui.view_model import Fact, Point, Reticle, ScrewStrip, Sense, TrailPoint
from polewright.words.axis import with_all_words
from polewright.words.coach import way_text
from polewright.words.numbers import (
    angle_text,
    duration_text,
    is_zero,
    rate_text,
    sense_text,
    sigma_text,
    size_and_side,
    total_text,
    turns_text,
)
from polewright.words.plan import against_words, tolerance_words
from polewright.words.window import AXIS_COMES, AXIS_COMES_AFTER_TURN, BY_EYE

PATH_POINTS = 24
EMPTY = {
    Stage.ORIENTATION: AXIS_COMES,
    Stage.CAPTURE: AXIS_COMES_AFTER_TURN,
}


def gliding_offset(state: Running, now_s: float) -> Offset | None:
    """Where the axis is as it is told; while a hand turns, where it is by now if it goes on so, and less surely."""
    offset, walk = told_offset(state), state.handling.walk
    if offset is None or walk is None or not walk.moving(now_s):
        return offset
    gone = (walk.predicted_arcmin(now_s) - walk.here_arcmin) / ARCMIN_PER_RAD
    (ee, eu), (_, uu) = offset.covariance_rad2
    unsure = (GUESS_SHARE * gone) ** 2
    if walk.screw is Screw.ALTITUDE:
        return replace(offset, up_rad=offset.up_rad + gone, covariance_rad2=((ee, eu), (eu, uu + unsure)))
    across = math.cos(state.plan.pole_altitude_rad) * (-1.0 if state.plan.southern else 1.0)
    sideways = ((ee + unsure * across**2, eu), (eu, uu))
    return replace(offset, east_rad=offset.east_rad + gone * across, covariance_rad2=sideways)


NO_WELL = Reticle(2.0, "", empty_text=EMPTY[Stage.ORIENTATION])


def well(state: Running, advice: Advice, extras: Extras) -> Reticle:
    """The reticle of a state."""
    plan = state.plan
    offset = gliding_offset(state, extras.now_s)
    return Reticle(
        tolerance_arcmin=plan.tolerance_rad * ARCMIN_PER_RAD,
        tolerance_text=tolerance_words(plan.origin, plan.tolerance_rad),
        axis=None if offset is None else _point(offset.east_rad, offset.up_rad),
        covariance_arcmin2=((0.0, 0.0), (0.0, 0.0)) if offset is None else _arcmin2(offset.covariance_rad2),
        trail=_trail(state),
        path=_path(state, advice),
        southern=plan.southern,
        reading_id=state.frames_used,
        stale_text="" if offset is None else stale_text(state, extras),
        empty_text="" if offset is not None else EMPTY.get(state.stage, EMPTY[Stage.CAPTURE]),
        unsure=offset is not None and _wide_rad(offset.covariance_rad2) > plan.tolerance_rad,
    )


def stale_text(state: Running, extras: Extras) -> str:
    """How old the last reading is, once it is older than twice the usual interval."""
    if state.last_frame_s is None or state.aligned:
        return ""
    age_s = extras.now_s - state.last_frame_s
    return f"{duration_text(age_s)} old" if age_s > extras.stale_after_s else ""


def _trail(state: Running) -> tuple[TrailPoint, ...]:
    return tuple(TrailPoint(r.east_rad * ARCMIN_PER_RAD, r.up_rad * ARCMIN_PER_RAD, r.move) for r in state.trail)


def _path(state: Running, advice: Advice) -> tuple[Point, ...]:
    """The curve the marker will follow under the advised turn; nothing while its effect is not known."""
    turn = advice.action
    both = outlooks(state) if isinstance(turn, Turn) else None
    if both is None or not isinstance(turn, Turn):
        return ()
    outlook = next(o for o in both if o.screw is turn.screw)
    if state.walking:  # the eye stops the hand: the posts stand where it is to end, whatever a turn is worth
        return predicted_path(
            state, replace(outlook, plan=replace(outlook.plan, expected_arcmin=_gate(state, outlook)))
        )
    still = outlook.plan.expected_arcmin == outlook.coordinate_arcmin  # all of the turn takes up slack
    if still or outlook.plan.kind in (TurnKind.TRIAL, TurnKind.RECHECK, TurnKind.NONE):
        return ()
    return predicted_path(state, outlook)


def _gate(state: Running, outlook: ScrewOutlook) -> float:
    walk = state.handling.walk
    if walk is not None and walk.screw is outlook.screw:
        return walk.gate_arcmin
    return gate_arcmin(state, outlook.screw, outlook.coordinate_arcmin)


def predicted_path(state: Running, outlook: ScrewOutlook) -> tuple[Point, ...]:
    """Exact on the sphere: one screw coordinate runs from here to where the turn is expected to end."""
    offset, plan = state.offset, state.plan
    assert offset is not None
    here = state.angles(offset)
    reach = outlook.plan.expected_arcmin - outlook.coordinate_arcmin
    points = []
    for share in np.linspace(0.0, 1.0, PATH_POINTS):
        step = float(share) * reach
        bearing = here.bearing_arcmin + (step if outlook.screw is Screw.AZIMUTH else 0.0)
        height = here.height_arcmin + (step if outlook.screw is Screw.ALTITUDE else 0.0)
        points.append(
            _point(*offset_from_angles(ScrewAngles(bearing, height), plan.pole_altitude_rad, plan.southern))
        )
    return tuple(points)


def _point(east_rad: float, up_rad: float) -> Point:
    return Point(east_rad * ARCMIN_PER_RAD, up_rad * ARCMIN_PER_RAD)


def _arcmin2(covariance_rad2: Covariance) -> tuple[tuple[float, float], tuple[float, float]]:
    (ee, eu), (ue, uu) = covariance_rad2
    k = ARCMIN_PER_RAD**2
    return (ee * k, eu * k), (ue * k, uu * k)


def _wide_rad(covariance_rad2: Covariance) -> float:
    """The longer half axis of the one-sigma ellipse."""
    return float(np.sqrt(max(np.linalg.eigvalsh(np.array(covariance_rad2))[-1], 0.0)))


def strips(state: Running, advice: Advice) -> tuple[ScrewStrip, ...]:
    """Both strips while screws are turned; else none."""
    if state.stage not in (Stage.ROUGH, Stage.FINE):
        return ()
    both = outlooks(state)
    if both is None:
        return tuple(ScrewStrip(screw) for screw in Screw)
    return tuple(_strip(state, advice, outlook) for outlook in both)


def _strip(state: Running, advice: Advice, outlook: ScrewOutlook) -> ScrewStrip:
    screw, note = outlook.screw, _note(state, outlook.screw)
    turn = advice.action if isinstance(advice.action, Turn) and advice.action.screw is outlook.screw else None
    turns = outlook.plan.turns if turn is None else turn.turns
    nothing_left = outlook.plan.kind is TurnKind.NONE or state.stop_here or state.locks.tight
    if turn is None and (nothing_left or not turns):
        return ScrewStrip(screw, turns=0.0, signed_turns=0.0, note_text=note, stop=True)
    if turn is None and (outlook.plan.kind is TurnKind.TRIAL or _by_eye(state, screw)):
        return ScrewStrip(screw)  # that nothing is known is said once
    if turn is not None and isinstance(advice.reason, Walking) and not advice.reason.way_told:
        return ScrewStrip(screw, active=True, turns=0.0, amount_text=BY_EYE, sense_text=way_text(advice.reason))
    return ScrewStrip(
        screw,
        active=turn is not None,
        turns=abs(turns),
        signed_turns=math.copysign(abs(turns), outlook.left_rad),
        sense=Sense.CLOCKWISE if turns >= 0.0 else Sense.ANTICLOCKWISE,
        amount_text=BY_EYE if _by_eye(state, screw) else turns_text(turns),
        sense_text=sense_text(turns),
        note_text=note,
    )


def _by_eye(state: Running, screw: Screw) -> bool:
    """Whether nobody knows what a turn of this screw is worth, and the eye leads: then no number is shown."""
    return state.walking and not worth_a_number(state.rate(screw))


def _note(state: Running, screw: Screw) -> str:
    rate = state.rate(screw)
    return "not learned yet" if rate is None else rate_text(rate.arcmin_per_turn, rate.sigma_arcmin)


def axis_numbers(state: Running) -> tuple[Fact, ...]:
    """Total, azimuth, altitude; while a hand turns, about where the marker glides, as the sentence tells."""
    offset = gliding_offset(state, state.now_s)
    if offset is None:
        return ()
    about = "" if offset == told_offset(state) else "about "
    angles = state.angles(offset)
    (ee, _), (_, uu) = offset.covariance_rad2
    horizon_rad = abs(angles.bearing_arcmin) / ARCMIN_PER_RAD
    horizon = angle_text(horizon_rad, angles.sigma_bearing_arcmin / ARCMIN_PER_RAD)
    sky, side = size_and_side(offset.east_rad, math.sqrt(max(ee, 0.0)))
    horizon = sky if is_zero(sky) or is_zero(horizon) else horizon  # rounded, both are something or nothing
    height, high = size_and_side(offset.up_rad, math.sqrt(max(uu, 0.0)), "up")  # as the sentence tells it
    return (
        _total(state, offset, about),
        Fact("azimuth", f"{about}{horizon}", f"{side}, at the screw; {sky} on the sky"),
        Fact("altitude", f"{about}{height}", high),
        *([] if about else stars_fact(offset)),  # gliding, it is a guess: no budget tells how sure
    )


def stars_fact(offset: Offset) -> list[Fact]:
    """How sure it is by the stars alone and in all; nothing where only the one is known."""
    budget = offset.budget
    if budget is None:
        return []
    return [Fact("by the stars", sigma_text(budget.sigma_rad(Part.STARS)), with_all_words(offset.sigma_rad))]


def total_fact(state: Running) -> Fact | None:
    """How far off the axis is in all, as the numbers tell; None before it is known."""
    offset = gliding_offset(state, state.now_s)
    return None if offset is None else _total(state, offset, "" if offset == told_offset(state) else "about ")


def _total(state: Running, offset: Offset, about: str) -> Fact:
    total = total_text(offset.total_rad, offset.sigma_rad)
    return Fact("total", f"{about}{total}", f"{sigma_text(offset.sigma_rad)} {against_words(state.plan.target)}")
