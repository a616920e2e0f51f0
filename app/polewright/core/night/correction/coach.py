"""The coach while the two screws are turned, tightened and checked."""

from __future__ import annotations

import math

from polewright.core.night.advice import Advice, GoBack, GoOn, Lock, Mood, RotateAxis, Turn, Unlock, Wait
from polewright.core.night.correction.handling import settled
from polewright.core.night.correction.outlook import ScrewOutlook, locks_to_be_tried, next_turn
from polewright.core.night.rest import SETTLE_S
from polewright.core.night.states import Running, Stage
from polewright.core.night.turning.room import hour_angle_of
from polewright.core.offset import CLOSE_ENOUGH, Offset, frames_until_sure
from polewright.core.screws.angles import Screw
from polewright.core.screws.doable import SMALLEST_TURNS
from polewright.core.screws.lesson import MOST_TURNS
from polewright.core.screws.lock_memory import lock_words
from polewright.core.screws.plan import TurnKind, TurnPlan
from polewright.words.numbers import (
    angle_text,
    clock_face_text,
    offset_words,
    sense_text,
    sigma_text,
    turns_text,
)

WEAK = 3.0  # a reading this many times less sure than the capture comes from a weak geometry
PATIENT_READINGS = 10
WORTH_SAYING = 0.75  # a turn that leaves more than this share of the error is not told as progress


def advise_correction(state: Running) -> Advice:
    """Rough and fine correction."""
    offset = state.offset
    if offset is None:
        return Advice(
            "Go back and measure again.", "The axis is not known.", "", GoBack(), Mood.TROUBLE, "correction:unknown"
        )
    if not state.rest.readings:
        return Advice("Hands off. Waiting for a frame.", "", "", Wait(), Mood.WAIT, "correction:first")
    if not settled(state) or state.handling.opened_at is not None:
        return _settling(state)
    weak = _weak_geometry(state)
    if weak is not None:
        return weak
    if state.stop_here and state.lesson is None:
        return _inside(state, offset)
    turn = next_turn(state)
    if turn is None:
        return _average(state, offset)
    if state.locks.tight:
        return _loosen(state, offset)
    if locks_to_be_tried(state):
        return _try_locks(state)
    return _turn(state, turn)


def _settling(state: Running) -> Advice:
    left = max(SETTLE_S - (state.now_s - state.handling.touched_s), 0.0)
    seconds = max(1, math.ceil(left)) if math.isfinite(left) else 1
    sentence = f"Hands off. Settling, {seconds} s." if left > 0.0 else "Hands off. Waiting for a frame."
    return Advice(
        sentence,
        "The axis is still moving, or has just been touched.",
        "",
        Wait(float(seconds)),
        Mood.WAIT,
        "settling",
    )


def _turn(state: Running, outlook: ScrewOutlook) -> Advice:
    plan, screw = outlook.plan, outlook.screw
    name = screw.value
    sense = sense_text(plan.turns)
    sentence = f"Turn {name} {turns_text(plan.turns)} {sense}."
    if abs(plan.turns) < SMALLEST_TURNS:
        sentence = f"Nudge {name} {sense}, a touch."
    direction = "east" if screw is Screw.AZIMUTH else "up"
    where = offset_words(outlook.left_rad, outlook.sigma_rad, "east" if direction == "east" else "up", False)
    return Advice(
        sentence,
        " ".join(
            part
            for part in (
                f"The axis is {where}{_aim_words(state)}.",
                _habit(state),
                _lesson_words(state, plan) or _purpose(plan),
            )
            if part
        ),
        _turn_gain(outlook),
        Turn(screw, plan.turns),
        Mood.DO,
        f"{'turn' if state.lesson is None else 'lesson'}:{name}:{state.handling.turns_made}"
        f":{len(state.memory(screw).moves)}",
    )


def _aim_words(state: Running) -> str:
    """Why the size is not that of the numbers below: the aim lies beside the pole by the shift of the locks."""
    aimed_beside = not state.locks.tight and state.locks.aim_rad != (0.0, 0.0)
    return ", with the shift of the locks allowed for" if aimed_beside else ""


def _habit(state: Running) -> str:
    """What the locks did on earlier nights, while the fine turns aim by it."""
    return lock_words(state.locks.aim_rad) if state.locks.by_habit and state.stage is Stage.FINE else ""


def _lesson_words(state: Running, plan: TurnPlan) -> str:
    if state.lesson is None or plan.kind is not TurnKind.LESSON:
        return ""
    count = f"To learn this screw, {state.lesson.made + 1} of at most {MOST_TURNS}:"
    if abs(plan.turns) >= 1.0:
        return f"{count} count whole turns, stop at the dot, say what you read off."
    return f"{count} it crosses the slack. Say what you read off."


def _purpose(plan: TurnPlan) -> str:
    if plan.kind is TurnKind.TRIAL:
        return "A trial: it shows what this screw does. Loosen the opposite screw first; mark the head with a dot."
    if plan.kind is TurnKind.RECHECK:
        return "The last turns do not agree about the direction; this one decides."
    face = clock_face_text(plan.turns)
    if face:
        return f"That is {face}."
    return "Part of the way, then the next frame tells the rest." if plan.kind is TurnKind.APPROACH else ""


def _turn_gain(outlook: ScrewOutlook) -> str:
    plan = outlook.plan
    if not math.isfinite(plan.sigma_arcmin) or not outlook.left_rad:
        return ""
    share = math.hypot(plan.expected_arcmin, plan.sigma_arcmin) / max(abs(outlook.coordinate_arcmin), 1e-9)
    if share > WORTH_SAYING:
        return "Most of it takes up the slack of this screw."
    left = share * abs(outlook.left_rad)
    return f"Leaves about {angle_text(left, left)} of {angle_text(outlook.left_rad, outlook.sigma_rad)}."


def _inside(state: Running, offset: Offset) -> Advice:
    needed = angle_text(state.plan.tolerance_rad)
    here = angle_text(offset.total_rad, offset.sigma_rad)
    if not state.locks.tight:
        aimed = state.locks.aim_rad != (0.0, 0.0)
        reason = f"{here} off, needed {needed}. " if not aimed else "Beside the pole by what the locks will shift. "
        return Advice(
            "Tighten the base locks evenly.",
            f"{reason}Tightening may move the axis; the next frames show it.",
            "",
            Lock(),
            Mood.DO,
            f"lock:{state.handling.turns_made}",
        )
    return Advice(
        f"Good enough for tonight: {here}.",
        f"Needed {needed}. Go on to prove it by a second turn.",
        "",
        GoOn(),
        Mood.GOOD,
        "good enough",
    )


def _try_locks(state: Running) -> Advice:
    return Advice(
        "Tighten the base locks once, as a trial.",
        "On many mounts that moves the axis. What it does is allowed for from now on.",
        "",
        Lock(),
        Mood.DO,
        f"lock:trial:{state.handling.turns_made}",
    )


def _loosen(state: Running, offset: Offset) -> Advice:
    shift = state.locks.shift_rad
    moved = f"Tightening moved the axis by {angle_text(math.hypot(*shift))}. " if shift else ""
    return Advice(
        "Loosen the base locks a little.",
        f"{moved}{angle_text(offset.total_rad, offset.sigma_rad)} off, needed "
        f"{angle_text(state.plan.tolerance_rad)}.",
        "The next aim allows for the shift." if shift else "",
        Unlock(),
        Mood.DO,
        f"unlock:{state.handling.turns_made}",
    )


def _average(state: Running, offset: Offset) -> Advice:
    """Nothing left to turn, not sure yet: more frames, or a better capture."""
    more = frames_until_sure(offset, state.shared, state.plan.tolerance_rad, state.aim_rad)
    if more is not None and len(state.rest.readings) < PATIENT_READINGS:
        return Advice(
            "Hands off. Measuring.",
            f"Known to {sigma_text(offset.sigma_rad)}; about {max(more, 1)} more frames make it sure.",
            "",
            Wait(),
            Mood.WAIT,
            f"average:{state.handling.turns_made}",
        )
    if state.capture.by_drift:
        return _drift_again(state, offset)
    return Advice(
        "Go back and measure the axis again.",
        f"The capture leaves {sigma_text(offset.sigma_rad)}: too much for {angle_text(state.plan.tolerance_rad)}.",
        "A wider turn of the RA axis makes it surer.",
        GoBack(),
        Mood.TROUBLE,
        f"average:again:{state.handling.turns_made}",
    )


def _drift_again(state: Running, offset: Offset) -> Advice:
    """The axis is known from a drift, and nothing is left to turn: the proof is another drift."""
    if not state.locks.tight:
        return Advice(
            "Tighten the base locks evenly.",
            "Tightening may move the axis; the next frames show it.",
            "",
            Lock(),
            Mood.DO,
            f"lock:{state.handling.turns_made}",
        )
    return Advice(
        "Go on: watch the drift again.",
        f"The first drift leaves {sigma_text(offset.sigma_rad)}; the tripod has settled since.",
        "",
        GoOn(),
        Mood.DO,
        f"drift again:{state.handling.turns_made}",
    )


def _weak_geometry(state: Running) -> Advice | None:
    """The camera looks where the screws can hardly be seen: turn the RA axis toward the meridian."""
    last = state.rest.last
    if last is None or state.last_frame is None:
        return None
    own = last.covariance_rad2[0][0] + last.covariance_rad2[1][1]
    known = state.shared[0][0] + state.shared[1][1]
    enough = (CLOSE_ENOUGH * state.plan.tolerance_rad) ** 2
    if own <= WEAK**2 * max(known, enough):
        return None
    away = hour_angle_of(state)
    if abs(away) < math.radians(15.0):
        return None
    degrees = math.degrees(-away)
    return Advice(
        f"Rotate the RA axis {abs(degrees):.0f}° {'west' if degrees > 0.0 else 'east'}.",
        "Here the screws can hardly be seen; near the meridian they can." + _warning(state),
        f"The uncertainty falls below {angle_text(math.sqrt(own))}.",
        RotateAxis(degrees),
        Mood.DO,
        f"meridian:{state.handling.turns_made}",
    )


def _warning(state: Running) -> str:
    return f" {state.reading_warnings[0]}" if state.reading_warnings else ""
