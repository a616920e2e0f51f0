"""Practising on a recorded night: "what would you turn now?", then compared with what happened.

A decision is a turn that somebody made: told, or led by the eye and only seen. The answer's effect is computed with
all that the whole night taught about the screws; what the recorded turn did is known from the frames after it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.events import AnyEvent, ScrewTurned, UndoAsked
from polewright.core.night.states import AskedTurn, NightState, Running, Stage, Waiting
from polewright.core.offset import Offset
from polewright.core.screws.angles import Screw, ScrewAngles, offset_from_angles
from polewright.core.screws.memory import ScrewRate

ABOUT_RIGHT = 0.25  # of the turn that would have been best: hands do no better


@dataclass(frozen=True)
class Answer:
    """What the trainee would turn: clockwise positive."""

    screw: Screw
    turns: float


@dataclass(frozen=True)
class Decision:
    """A turn in a recorded night: the state just before, what was asked for, what was reported, where it led.

    `after` is None when the night ended before the axis came to rest. `by_eye`: nobody told how far; only the way it
    went was seen. `step`: which of the night's steps began it.
    """

    state: Running
    asked: AskedTurn | None
    made: Answer
    after: Offset | None
    by_eye: bool = False
    step: int = 0


class Mark(Enum):
    """How good an answer is."""

    NOTHING_LEFT = "the screw had nothing left to do"
    OTHER_WAY = "the other way"
    RIGHT = "about right"
    TOO_LITTLE = "too little"
    TOO_MUCH = "too much"


@dataclass(frozen=True)
class Marked:
    """The mark of an answer, the screw, and the turn that would have been exact."""

    mark: Mark
    screw: Screw
    best_turns: float


@dataclass(frozen=True)
class Verdict:
    """An answer against the night: what each leaves (rad), and how the answer is marked."""

    yours_leaves_rad: float
    theirs_left_rad: float | None
    marked: Marked


def decisions(steps: Iterable[tuple[AnyEvent, NightState, NightState]]) -> Iterator[Decision]:
    """The decisions of a night from its (event, state before, state after), in order.

    A move begins with the first frame that shows it or with the first word about it, whichever comes first, and is
    over when the axis has come to rest again.
    """
    begun: tuple[int, Running] | None = None
    told: Answer | None = None
    for number, (event, before, after) in enumerate(steps):
        if isinstance(before, Waiting) or isinstance(after, Waiting):
            continue
        if isinstance(event, UndoAsked):
            begun, told = None, None
        if begun is None and _moving(after) and not _moving(before) and before.stage in (Stage.ROUGH, Stage.FINE):
            begun = (number, before)
        if begun is not None and isinstance(event, ScrewTurned) and after is not before:
            told = _joined(told, _made(event, before))
        if begun is not None and not _moving(after):
            yield from _decided(*begun, told, after, after.offset)
            begun, told = None, None
    if begun is not None:
        yield from _decided(*begun, told, None, None)


def _decided(
    number: int, state: Running, told: Answer | None, closed: Running | None, rest: Offset | None
) -> Iterator[Decision]:
    """The decision, where anybody knows which screw it was."""
    seen = None if closed is None else _seen(state, closed)
    made = told or seen
    if made is not None and state.offset is not None:
        yield Decision(state, state.handling.asked, made, rest, told is None, number)


def _seen(before: Running, closed: Running) -> Answer | None:
    """The turn that nobody told, as the move it has become."""
    for screw in Screw:
        moves = closed.memory(screw).moves
        if moves and moves[-1:] != before.memory(screw).moves[-1:]:
            return Answer(screw, moves[-1].turns)
    return None


def judge(decision: Decision, answer: Answer, rates: dict[Screw, ScrewRate | None]) -> Verdict | None:
    """The answer compared; None where the night never learned the screw that was chosen."""
    offset, rate = decision.state.offset, rates.get(answer.screw)
    if offset is None or rate is None:
        return None
    yours = left_after(decision.state, offset, answer, rate)
    theirs = None if decision.after is None else decision.after.total_rad
    return Verdict(yours, theirs, _marked(decision, answer, rate))


def left_after(state: Running, offset: Offset, answer: Answer, rate: ScrewRate) -> float:
    """Total offset, rad, after the turn, by the rate and backlash given."""
    angles = state.angles(offset)
    coordinate = angles.bearing_arcmin if answer.screw is Screw.AZIMUTH else angles.height_arcmin
    direction = math.copysign(1.0, answer.turns)
    moved = direction * max(abs(answer.turns) - rate.lost_turns(direction), 0.0) * rate.at(coordinate / 2.0)
    if answer.screw is Screw.AZIMUTH:
        there = ScrewAngles(angles.bearing_arcmin + moved, angles.height_arcmin)
    else:
        there = ScrewAngles(angles.bearing_arcmin, angles.height_arcmin + moved)
    return math.hypot(*offset_from_angles(there, state.plan.pole_altitude_rad, state.plan.southern))


def best_turn(state: Running, screw: Screw, rate: ScrewRate) -> float:
    """The turn of this screw that would have brought its own coordinate to zero."""
    offset = state.offset
    assert offset is not None
    angles = state.angles(offset)
    coordinate = angles.bearing_arcmin if screw is Screw.AZIMUTH else angles.height_arcmin
    turns = -coordinate / rate.at(coordinate / 2.0)
    direction = math.copysign(1.0, turns)
    return turns + direction * rate.lost_turns(direction)


def _marked(decision: Decision, answer: Answer, rate: ScrewRate) -> Marked:
    best = best_turn(decision.state, answer.screw, rate)
    if abs(best) * abs(rate.arcmin_per_turn) < 1.0 / ARCMIN_PER_RAD:
        return Marked(Mark.NOTHING_LEFT, answer.screw, best)
    if answer.turns * best < 0.0:
        return Marked(Mark.OTHER_WAY, answer.screw, best)
    share = abs(answer.turns / best) - 1.0
    if abs(share) <= ABOUT_RIGHT:
        return Marked(Mark.RIGHT, answer.screw, best)
    return Marked(Mark.TOO_LITTLE if share < 0.0 else Mark.TOO_MUCH, answer.screw, best)


def _made(event: ScrewTurned, before: Running) -> Answer | None:
    if event.turns is not None:
        return Answer(event.screw, event.turns) if event.turns else None
    asked = before.handling.asked
    return Answer(event.screw, asked.turns) if asked is not None and asked.screw is event.screw else None


def _joined(first: Answer | None, second: Answer | None) -> Answer | None:
    """Two turns of a screw before the first was seen are one; of two screws the later counts."""
    if first is None or second is None:
        return second or first
    return Answer(first.screw, first.turns + second.turns) if first.screw is second.screw else second


def _moving(state: Running) -> bool:
    """Whether a move is going on: seen, or told and not yet seen."""
    return state.handling.opened_at is not None or bool(state.handling.reports)
