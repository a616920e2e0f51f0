"""Which of the reasons why a frame has no place on the sky leads: one order for all of them."""

from __future__ import annotations

import numpy as np

from polewright.core.model import StarFlag, StarList
from polewright.core.star_trouble import STARS_NEEDED, TooFewStars
from polewright.core.unsolved import Elongated, FrameReason, ScaleUnknown, Unmatched

_MOST_ELONGATED = 0.5  # of the objects: most of them


def leading_reason(stars: StarList, unmatched: Unmatched | None) -> FrameReason:
    """Why these stars could not be placed, by cause: what the sensor shows (a cap, too much light, motion, focus)
    before how many stars there are, and both before a pattern that fits nowhere."""
    told = stars.trouble
    if told is not None and not isinstance(told, TooFewStars):
        return told
    count = len(stars)
    if count and np.mean((stars.flags & StarFlag.ELONGATED) != 0) > _MOST_ELONGATED:
        return Elongated(count)
    if told is not None:
        return told
    if unmatched is not None and (count >= STARS_NEEDED or isinstance(unmatched, ScaleUnknown)):
        return unmatched
    return TooFewStars(None, 0, count)
