"""What is said about an answer in the training."""

from __future__ import annotations

from typing import assert_never

from polewright.core.night.trainee import Answer, Mark, Marked, Verdict
from polewright.core.screws.angles import Screw
from polewright.words.numbers import angle_text, sense_text, turns_text


def left_words(verdict: Verdict) -> str:
    """What the answer leaves, and what the night's own turn left."""
    text = f"Your turn leaves {angle_text(verdict.yours_leaves_rad)}."
    theirs = verdict.theirs_left_rad
    return text if theirs is None else f"{text} The night's turn left {angle_text(theirs)}."


def marked_words(marked: Marked) -> str:
    """How good the answer was, and which turn would have been exact."""
    best, way = turns_text(marked.best_turns), sense_text(marked.best_turns)
    match marked.mark:
        case Mark.NOTHING_LEFT:
            return f"The {marked.screw.value} screw had nothing left to do."
        case Mark.OTHER_WAY:
            return f"The other way: {way} brings the axis to the pole."
        case Mark.RIGHT:
            return f"Right: {best} {way} would have been exact."
        case Mark.TOO_LITTLE:
            return f"The right way, but more: {best} would have been exact."
        case Mark.TOO_MUCH:
            return f"The right way, but less: {best} would have been exact."
        case _:
            assert_never(marked.mark)


NEVER_TURNED = "Never turned that night."
SAME_WAY, OTHER_WAY = "The same way as that night.", "The opposite way to that night."


def unmeasured_words(answer: Answer, made: Answer) -> str:
    """What can be said where nobody knows what a turn of that screw is worth."""
    if answer.screw is not made.screw:
        return NEVER_TURNED
    return SAME_WAY if answer.turns * made.turns > 0.0 else OTHER_WAY


def that_night(screw: Screw, turns: float, by_eye: bool = False) -> str:
    """What was really turned: `That night: azimuth, 1/4 turn clockwise.`"""
    if by_eye:
        return f"That night: {screw.value}, {sense_text(turns)}, led by the eye."
    return f"That night: {screw.value}, {turns_text(turns)} {sense_text(turns)}."
