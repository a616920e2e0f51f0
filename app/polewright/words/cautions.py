"""What to take care of while the instruction is done: one line, at the moment when hands do it.

All of it is common practice, no source; local rules and the mount maker's manual come first.
"""

from __future__ import annotations

from polewright.core.night.advice import Advice, Do, Point, RotateAxis, SetUp, Turn, TurnBegins

HOLD = "Hold the telescope before you loosen a clutch; see that no cable can catch."
OPPOSITE = "Loosen the opposite screw first; never force a screw."
SUPPORT = "The head may drop: support it, fingers clear, then loosen the locks."
TIGHTEN = "Fingers clear; tighten by hand, never force a screw."
FIRST = "Maker's manual and local rules first. Mind legs, power, cables."
BY_DAY = "The Sun is up: caps on, point nothing near it, never look at it; find north by a shadow."
IN_ALL = (HOLD, OPPOSITE, SUPPORT, FIRST)


def caution_words(advice: Advice, by_day: bool = False) -> str:
    """The caution that belongs to an advice; "" where nothing is taken in hand. `by_day`: the Sun is up here, now."""
    if isinstance(advice.reason, TurnBegins):  # the camera is pointed first
        return BY_DAY if by_day else HOLD
    match advice.action:
        case RotateAxis() | Point() | Do.TIGHTEN_CLUTCH:
            return BY_DAY if by_day else HOLD
        case Turn():
            return OPPOSITE
        case Do.UNLOCK:
            return SUPPORT
        case Do.LOCK:
            return TIGHTEN
        case SetUp():
            return BY_DAY if by_day else FIRST
        case _:
            return ""
