"""Where each part of the window lies: pure geometry, so that tests can prove that nothing overlaps.

Decided 2026-11-25. Only the page of the night is laid out so; forms, lists and rows of buttons are Qt layouts, and
the well keeps its own geometry.
"""

from __future__ import annotations

from dataclasses import dataclass

SMALLEST = (1016, 564)  # 1024 x 600 less the frame of a window (FRAME_PX, TITLE_PX of ui/main_window.py)
STRIP_H, STRIP_W = 118.0, 124.0
WORDS_H, LEAST_WORDS_H, SCREWS_H = 200.0, 150.0, 98.0
TROUBLE_H, TROUBLE_W = 124, 450.0  # in a narrower column (1024 x 768) its words need more lines
AFTER_H = 104
READING_LEFT = 0.50  # share of the well and its strips: the letters need the other half


@dataclass(frozen=True)
class Box:
    """A rectangle in pixels."""

    x: float
    y: float
    w: float
    h: float

    def overlaps(self, other: Box) -> bool:
        """Whether they share more than an edge."""
        return (
            min(self.x + self.w, other.x + other.w) - max(self.x, other.x) > 0.5
            and min(self.y + self.h, other.y + other.h) - max(self.y, other.y) > 0.5
        )


def unit_for(width: float, height: float) -> float:
    """The size of things: 1 for 1280 x 800, following the smaller side, at least 0.8 (smaller type is not read)."""
    return max(0.8, min(width / 1280.0, height / 800.0))


@dataclass(frozen=True)
class Wants:
    """What a page needs room for."""

    strips: bool
    primary: int
    plain: int
    numbers: int
    pictures: bool
    timeline: bool = False
    transport: bool = False
    trouble: bool = False
    screws: bool = False
    reading: bool = False
    tall_rows: bool = False  # numbers whose words may need two lines
    after: bool = False  # in place of the strips: how it stands since it was aligned


def arrange(width: float, height: float, wants: Wants, glove_px: float) -> dict[str, Box]:
    """Named boxes for a window of that size: well, strips, words, buttons, numbers, pictures, bars."""
    u = unit_for(width, height)
    if wants.reading:
        return _arrange_reading(width, height, u, wants)
    gap = 14 * u
    boxes: dict[str, Box] = {}
    rail_h, keys_h = 54 * u, 38 * u
    boxes["rail"] = Box(0, 0, width, rail_h)
    boxes["keys"] = Box(0, height - keys_h, width, keys_h)
    top, bottom = rail_h, height - keys_h
    if wants.transport:
        transport_h = 84 * u
        boxes["transport"] = Box(gap, bottom - transport_h, width - 2 * gap, transport_h)
        bottom -= transport_h
    body = Box(gap, top, width - 2 * gap, bottom - top - gap / 2)
    left_w = _place_left(boxes, body, u, wants)
    right = Box(body.x + left_w + 2 * gap, body.y, body.w - left_w - 2 * gap, body.h)
    _place_right(boxes, right, u, gap, wants, glove_px)
    return boxes


def _place_left(boxes: dict[str, Box], body: Box, u: float, wants: Wants) -> float:
    large = 1.75 if wants.reading else 1.0
    strip_h, strip_w = (STRIP_H * u * large, STRIP_W * u * large) if wants.strips else (0.0, 0.0)
    below_h = AFTER_H * u * (1.4 if wants.reading else 1.0) if wants.after and not wants.strips else strip_h
    well = min(body.h - below_h, body.w * (READING_LEFT if wants.reading else 0.60) - strip_w)
    y = body.y + (body.h - well - below_h) / 2
    boxes["well"] = Box(body.x, y, well, well)
    if wants.after and not wants.strips:
        boxes["after"] = Box(body.x, y + well, well, below_h)
    if wants.strips:
        boxes["altitude"] = Box(body.x + well, y, strip_w, well)
        boxes["azimuth"] = Box(body.x, y + well, well, strip_h)
        boxes["corner"] = Box(body.x + well, y + well, strip_w, strip_h)
    return well + strip_w


def _place_right(boxes: dict[str, Box], right: Box, u: float, gap: float, wants: Wants, glove_px: float) -> None:
    """From the bottom up: pictures, numbers, buttons; the words take what is left."""
    y = right.y + right.h
    rows = _rows(right, u, gap, wants, glove_px)
    h = _pictures_height(right, u, gap, wants, rows)
    if h > 0.0:
        y -= h
        share = (right.w - gap) * 0.46 if wants.timeline else right.w
        boxes["frame"] = Box(right.x, y, share, h)
        if wants.timeline:
            boxes["timeline"] = Box(right.x + share + gap, y, right.w - share - gap, h)
        y -= gap
    taken = sum(high + below for _, high, below in rows)
    k = min(1.0, (right.h - LEAST_WORDS_H * u) / taken) if rows else 1.0  # a low window squeezes every row alike
    for name, high, below in rows:
        y -= high * k
        boxes[name] = Box(right.x, y, right.w, high * k)
        y -= below * k
    boxes["words"] = Box(right.x, right.y, right.w, y - right.y)


def _rows(right: Box, u: float, gap: float, wants: Wants, glove_px: float) -> list[tuple[str, float, float]]:
    """(name, height, gap above it), from the bottom up, of what stands between the pictures and the words."""
    rows = (
        (bool(wants.numbers), "numbers", _numbers_height(u, wants), gap * 0.6),
        (wants.screws, "screws", SCREWS_H * u, gap * 0.6),
        (bool(wants.plain), "plain", 42 * u, gap * 0.6),
        (bool(wants.primary), "primary", min(glove_px, right.h * 0.2), gap * 0.8),
        (wants.trouble, "trouble", TROUBLE_H * u * max(1.0, TROUBLE_W / right.w), gap * 0.8),
    )
    return [(name, high, below) for wanted, name, high, below in rows if wanted]


def _pictures_height(right: Box, u: float, gap: float, wants: Wants, rows: list[tuple[str, float, float]]) -> float:
    """What the words, buttons and numbers leave; too little for a picture is nothing."""
    if not wants.pictures:
        return 0.0
    taken = WORDS_H * u + 6 * u + sum(high + below for _, high, below in rows)
    h = min(190 * u, right.h * 0.30, right.h - taken - gap)
    return h if h >= 92 * u else 0.0


def _numbers_height(u: float, wants: Wants) -> float:
    return (42 if wants.tall_rows else 31) * u * wants.numbers + 6 * u


def _arrange_reading(width: float, height: float, u: float, wants: Wants) -> dict[str, Box]:
    """Only the well, its strips and the words, as large as they go."""
    gap = 16 * u
    boxes: dict[str, Box] = {}
    body = Box(gap, gap, width - 2 * gap, height - 2 * gap)
    left = _place_left(boxes, body, u, wants)
    boxes["words"] = Box(body.x + left + 2 * gap, body.y, body.w - left - 2 * gap, body.h)
    return boxes
