"""Turns that hands can do: eighths and twelfths (hours on a clock face), simple fractions below, a touch at last."""

from __future__ import annotations

import math
from bisect import bisect_left

# a hand turns by eighths at ease; a touch is 1.5 degrees of the head, the least that moves anything (chosen)
EIGHTH, TOUCH = 1.0 / 8.0, 1.0 / 240.0
SMALLEST_TURNS = 1.0 / 120.0  # below it only a touch is left
# below an eighth: 3 to 36 degrees of the head, simple enough to be aimed at
_SMALL = tuple(1.0 / n for n in (120, 80, 60, 40, 30, 24, 20, 15, 12, 10))
_PARTS = tuple(sorted({n / 8.0 for n in range(1, 8)} | {n / 12.0 for n in range(2, 12)}))
_LADDER = (*_SMALL, *_PARTS, *(n / 8.0 for n in range(8, 24)), *(n / 4.0 for n in range(12, 49)))
_READ = tuple(sorted({*_LADDER, *(n / 12.0 for n in range(12, 145))}))  # what an eye tells apart: hours and eighths
_STEPS = (TOUCH, *_READ)


def doable_turns(turns: float) -> float:
    """The nearest size that hands can do, always positive; beyond twelve turns the nearest quarter."""
    return _nearest(turns, _LADDER)


def readable_turns(turns: float) -> float:
    """The nearest size that can be read off a screw head, always positive; beyond twelve turns a quarter."""
    return _nearest(turns, _READ)


def _nearest(turns: float, sizes: tuple[float, ...]) -> float:
    size = abs(turns)
    if size > sizes[-1]:
        return round(size * 4.0) / 4.0
    if size < math.sqrt(TOUCH * SMALLEST_TURNS):
        return TOUCH
    above = bisect_left(sizes, size)
    return min(sizes[max(above - 1, 0) : above + 1], key=lambda step: abs(math.log(step / size)))


def stepped_turns(turns: float, steps: int) -> float:
    """The size so many steps further up (+) or down (-) among those that can be read off; the sign stays."""
    index = bisect_left(_STEPS, readable_turns(turns) * (1.0 - 1e-9)) + steps
    return math.copysign(_STEPS[min(max(index, 0), len(_STEPS) - 1)], turns)
