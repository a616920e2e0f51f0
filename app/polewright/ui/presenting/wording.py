"""Small pieces of text that several panels share."""

from __future__ import annotations

from polewright.core.formatting import Direction, angle_text, clock_minutes_text, offset_words, turns_text
from polewright.core.screws.plan import CLOCK_MINUTE, EIGHTH, HALF_MINUTE


def size_and_side(
    offset_rad: float, sigma_rad: float | None = None, direction: Direction = "east"
) -> tuple[str, str]:
    """("12′", "too far east"); an offset of nothing gives its size and "neither east nor west"."""
    size = angle_text(offset_rad, sigma_rad)
    words = offset_words(offset_rad, sigma_rad, direction, with_sigma=False)
    return size, words.removeprefix(size).strip()


def amount_text(turns: float) -> str:
    """The size of a turn, short enough for a strip or a button: "1 1/4 turns", "4 minutes", "a touch"."""
    size = abs(turns)
    if size < HALF_MINUTE:
        return "a touch"
    if size < EIGHTH - 0.5 * CLOCK_MINUTE:
        return clock_minutes_text(size)
    return turns_text(size)


def capital(text: str) -> str:
    """The same with a capital letter at the beginning."""
    return text[:1].upper() + text[1:]
