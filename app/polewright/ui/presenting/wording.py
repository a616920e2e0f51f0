"""Small pieces of text that several panels share."""

from __future__ import annotations

from polewright.words.numbers import Direction, angle_text, offset_words


def size_and_side(
    offset_rad: float, sigma_rad: float | None = None, direction: Direction = "east"
) -> tuple[str, str]:
    """("12′", "too far east"); an offset of nothing gives its size and "neither east nor west"."""
    size = angle_text(offset_rad, sigma_rad)
    words = offset_words(offset_rad, sigma_rad, direction, with_sigma=False)
    return size, words.removeprefix(size).strip()


def capital(text: str) -> str:
    """The same with a capital letter at the beginning."""
    return text[:1].upper() + text[1:]
