"""Numbers as people read them: degrees above 2 degrees, arcminutes down to 2', arcseconds below; signs in words.

Two significant digits, and never a digit that the uncertainty does not support. Turns come in the sizes of
core/screws/doable.py.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.screws.doable import SMALLEST_TURNS, doable_turns, readable_turns

Direction = Literal["east", "up"]

_WORDS: dict[str, tuple[str, str, str]] = {
    "east": ("too far east", "too far west", "neither east nor west"),
    "up": ("too high", "too low", "neither high nor low"),
}
_LARGE_ARCSEC, _MIDDLE_ARCSEC = 2.0 * 3600.0, 2.0 * 60.0


def angle_text(angle_rad: float, sigma_rad: float | None = None) -> str:
    """The size of an angle with its unit: `2.4°`, `12′`, `45″`; its sign is left to words."""
    if not math.isfinite(angle_rad):
        return "unknown"
    arcsec = abs(angle_rad) * ARCSEC_PER_RAD
    unit_arcsec, unit = _unit(arcsec)
    sigma = None if sigma_rad is None else abs(sigma_rad) * ARCSEC_PER_RAD / unit_arcsec
    return f"{number_text(arcsec / unit_arcsec, sigma)}{unit}"


def total_text(total_rad: float, sigma_rad: float | None = None) -> str:
    """A distance from the pole: `45″`; `under 10″` where its uncertainty leaves no digit of it, never `0″`.

    `sigma_rad` is that of both components together; the distance is rounded as they are where both are as sure, or
    it would look smaller than one of them.
    """
    text = angle_text(total_rad, None if sigma_rad is None else sigma_rad / math.sqrt(2.0))
    if sigma_rad is None or total_rad == 0.0 or not is_zero(text):
        return text
    arcsec = abs(total_rad) * ARCSEC_PER_RAD
    unit_arcsec, unit = _unit(arcsec)
    place = _leading_place(abs(sigma_rad) * ARCSEC_PER_RAD / unit_arcsec)
    return f"under {10.0**place:g}{unit}"


def offset_words(
    offset_rad: float, sigma_rad: float | None = None, direction: Direction = "east", with_sigma: bool = True
) -> str:
    """One component of the axis offset: `12′ too far east (± 3″)`, `3′ too low`; + is east and up."""
    size, side = size_and_side(offset_rad, sigma_rad, direction)
    words = side if is_zero(size) else f"{size} {side}"
    if sigma_rad is None or not with_sigma:
        return words
    return f"{words} ({sigma_text(sigma_rad)})"


def size_and_side(
    offset_rad: float, sigma_rad: float | None = None, direction: Direction = "east"
) -> tuple[str, str]:
    """(`12′`, `too far east`); an offset of nothing gives its size and `neither east nor west`."""
    positive, negative, zero = _WORDS[direction]
    size = angle_text(offset_rad, sigma_rad)
    return size, zero if is_zero(size) else positive if offset_rad > 0.0 else negative


def capital(text: str) -> str:
    """The same with a capital letter at the beginning."""
    return text[:1].upper() + text[1:]


def sigma_text(sigma_rad: float) -> str:
    """`± 3″`: one significant digit, two when the first is a 1."""
    return f"± {spread_text(sigma_rad)}"


def arcmin_text(value_rad: float, sigma_rad: float) -> str:
    """`   +1.234′ ± 0.123′`, for a table of the command line."""
    return f"{value_rad * ARCMIN_PER_RAD:+9.3f}′ ± {sigma_rad * ARCMIN_PER_RAD:.3f}′"


def spread_text(sigma_rad: float) -> str:
    """The same without its sign, for sentences that speak of the uncertainty itself."""
    arcsec = abs(sigma_rad) * ARCSEC_PER_RAD
    first_is_one = math.isfinite(arcsec) and arcsec > 0.0 and number_text(arcsec).lstrip("0.").startswith("1")
    return angle_text(sigma_rad, sigma_rad / 10.0 if first_is_one else sigma_rad)


def number_text(value: float, sigma: float | None = None) -> str:
    """Two significant digits, fewer where `sigma` (same unit) says so: 12.34 with 3 is "12", 0.046 is "0.046"."""
    if not math.isfinite(value):
        return "unknown"
    place = -9 if value == 0.0 else _leading_place(value) - 1
    if sigma is not None and math.isfinite(sigma) and sigma > 0.0:
        place = max(place, _leading_place(sigma))
    elif value == 0.0:
        place = 0
    rounded = round(value, -place)
    if rounded and _leading_place(rounded) - 1 > place:  # 9.96 -> 10, not 10.0
        place += 1
    return f"{rounded if rounded else 0.0:.{max(0, -place)}f}"


def turns_text(turns: float, read_off: bool = False) -> str:
    """The size of a turn that hands can do, or eyes read off: `1 1/4 turns`, `1/8 turn`, `1/30 turn`, `a touch`."""
    size = readable_turns(turns) if read_off else doable_turns(turns)
    if size < SMALLEST_TURNS:
        return "a touch"
    whole, rest = divmod(Fraction(size).limit_denominator(120), 1)
    parts = [str(int(whole))] if whole else []
    if rest:
        parts.append(f"{rest.numerator}/{rest.denominator}")
    return f"{' '.join(parts)} {'turn' if size <= 1.0 else 'turns'}"


def clock_face_text(turns: float) -> str:
    """The same against a clock face: `from 12 to 2 on a clock face`, `2 of the 60 marks on a clock face`; else "".

    Nothing in it can be taken for a time, nor for the other way round: beyond half a turn "from 12 to 11" is read as
    the short way back, and half a mark is no help to a hand.
    """
    size = Fraction(doable_turns(turns)).limit_denominator(240)
    hours, marks = size * 12, size * 60
    if size > Fraction(1, 2) or marks < 1:
        return ""
    if hours.denominator == 1:
        return f"from 12 to {int(hours if turns >= 0.0 else 12 - hours)} on a clock face"
    if size >= Fraction(1, 8):
        return ""
    whole, half = divmod(marks, 1)
    return f"{int(whole)}{' 1/2' if half else ''} of the 60 marks on a clock face"


def sense_text(turns: float) -> str:
    """Which way, as seen by the hand on the screw; positive is clockwise."""
    return "clockwise" if turns >= 0.0 else "anticlockwise"


def rate_text(arcmin_per_turn: float, sigma_arcmin: float | None = None) -> str:
    """`62′ a turn, ± 3 %`."""
    text = f"{number_text(abs(arcmin_per_turn), sigma_arcmin)}′ a turn"
    if sigma_arcmin is None or not arcmin_per_turn:
        return text
    return f"{text}, ± {number_text(100.0 * sigma_arcmin / abs(arcmin_per_turn), 1.0)} %"


def duration_text(seconds: float) -> str:
    """`4 s`, `1 min 20 s`, `12 min`, `1 h 5 min`; from 5 minutes on without the seconds."""
    if not math.isfinite(seconds):
        return "unknown"
    total = max(0, round(seconds))
    if total < 60:
        return f"{total} s"
    if total < 300:
        minutes, rest = divmod(total, 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    minutes = round(total / 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def counted(number: int, noun: str) -> str:
    """`1 adjustment`, `8 adjustments`."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def chance_text(chance: float) -> str:
    """`97 %`; never `100 %` nor `0 %`: nobody is that sure of a measurement."""
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{round(chance * 100.0)} %"


def _unit(arcsec: float) -> tuple[float, str]:
    """The unit for an angle, chosen after rounding to two digits, so that 1.996' is 120″ and not 2.0′."""
    if arcsec >= _LARGE_ARCSEC:
        return 3600.0, "°"
    return (60.0, "′") if arcsec >= _MIDDLE_ARCSEC else (1.0, "″")


def _leading_place(value: float) -> int:
    """Power of ten of the first digit: 123 -> 2, 0.05 -> -2."""
    return math.floor(math.log10(abs(value)))


def is_zero(text: str) -> bool:
    return not any(c in "123456789" for c in text)
