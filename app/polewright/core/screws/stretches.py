"""A screw's moves as stretches: from one turn that moved the axis to the next, with whatever was turned in between.

Turns that moved nothing only cross the slack. They are added to the next turn that was seen to move the axis:
together they are one stretch, and only the sum of what was turned in it can be compared with what the axis did.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from polewright.core.screws.memory import ScrewMove

READ_OFF_SHARE, READ_OFF_TURNS = 0.03, 0.01  # of a turn, at most of one; and at least: a paint dot, a clock face
HAND_FLOOR_TURNS = 0.003  # nobody stops a screw better than about one degree
UNSURE_ERROR = 0.25  # of a move whose turn is only guessed: added to the error of a hand (chosen)
SEEN_SIGMA = 5.0  # a rate is taken from a move only if |e2 - e1| is more than this many of its sigmas
LOST_TURNS = 0.03  # an engaged screw that was turned on by this much and did nothing was turned back instead


@dataclass(frozen=True)
class Stretch:
    """`turns` (clockwise positive, wrong ways put right) and their variance; the motion it made, the mean coordinate
    while moving (deg), the hand's direction at its end, whether every turn in it was read off; `last`: its last move.
    """

    turns: float
    variance: float
    moved_arcmin: float
    moved_variance: float
    at_deg: float
    direction: float
    read_off: bool
    sure: bool
    last: int


@dataclass(frozen=True)
class Stretches:
    """All stretches of a memory, oldest first; then the turns since, which moved nothing, and their variance."""

    done: tuple[Stretch, ...]
    open_turns: float = 0.0
    open_variance: float = 0.0
    wrong_way: tuple[int, ...] = ()
    direction: float = 0.0  # of the last turn that moved the axis


def seen(move: ScrewMove) -> bool:
    """Whether the axis moved beyond doubt."""
    return abs(move.moved_arcmin) > SEEN_SIGMA * move.sigma_arcmin and move.turns != 0.0


def stretches(moves: Sequence[ScrewMove], sign: float, human_error: float) -> Stretches:
    """The moves of a screw whose clockwise turn moves the coordinate by `sign`, as stretches."""
    done: list[Stretch] = []
    wrong: list[int] = []
    pending: list[tuple[ScrewMove, float]] = []
    direction = 0.0
    for i, move in enumerate(moves):
        turns = move.turns
        if move.guessed:  # nobody told how far: the slack is crossed, and that is all
            if seen(move):
                direction, pending = math.copysign(1.0, move.moved_arcmin * sign), []
            continue
        if seen(move) and turns * move.moved_arcmin * sign < 0.0:
            wrong.append(i)
            turns = -turns
        elif not seen(move) and not pending and turns * direction > LOST_TURNS:
            turns = -turns
        pending.append((move, turns))
        if seen(move):
            direction = math.copysign(1.0, move.moved_arcmin * sign)
            done.append(_stretch(pending, direction, human_error, i))
            pending = []
    variance = math.fsum(_variance(move, human_error) for move, _ in pending)
    return Stretches(tuple(done), math.fsum(turns for _, turns in pending), variance, tuple(wrong), direction)


def _stretch(parts: list[tuple[ScrewMove, float]], direction: float, human_error: float, last: int) -> Stretch:
    weights = [abs(move.moved_arcmin) for move, _ in parts]
    at = [(move.before_arcmin + move.after_arcmin) / 120.0 for move, _ in parts]
    return Stretch(
        turns=math.fsum(turns for _, turns in parts),
        variance=math.fsum(_variance(move, human_error) for move, _ in parts),
        moved_arcmin=math.fsum(move.moved_arcmin for move, _ in parts),
        moved_variance=math.fsum(move.sigma_arcmin**2 for move, _ in parts),
        at_deg=math.fsum(w * a for w, a in zip(weights, at, strict=True)) / math.fsum(weights),
        direction=direction,
        read_off=all(move.read_off for move, _ in parts),
        sure=all(move.sure for move, _ in parts),
        last=last,
    )


def _variance(move: ScrewMove, human_error: float) -> float:
    """Of a reported turn, turns^2. Whole turns are counted: only the last one can be misread."""
    size = abs(move.turns)
    if move.read_off:
        return (READ_OFF_SHARE * min(size, 1.0)) ** 2 + READ_OFF_TURNS**2
    relative = human_error if move.sure else math.hypot(human_error, UNSURE_ERROR)
    return (relative * size) ** 2 + HAND_FLOOR_TURNS**2
