"""The picture of the plan: how much an exposure blurs by its length, with the error achieved and the one needed."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from polewright.core.plan.study import LARGEST_RAD, SMALLEST_RAD, blur_by_exposure
from polewright.core.plan.tolerance import unreachable
from polewright.services.report.facts import NightFacts
from polewright.services.report.svg import ACCENT, FAINT, FLOOR, INK, LINE, PAPER, Frame, Picture
from polewright.words.numbers import angle_text, duration_text, number_text
from polewright.words.plan import pixels_text

TIMES_S = (0.1, 0.3, 1, 3, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400)
BLURS_PX = (0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300)
LEAST_PX = 0.01
LABEL_PX = 52.0  # room of a label below the axis


def plan_blur(facts: NightFacts, width: float = 760.0) -> str:
    """Blur against exposure, both logarithmic, as SVG; "" for a night without a plan, or without an axis.

    Each curve is the worst direction of its error, as on the page of the plan; its mark is the plan's own exposure.
    """
    if facts.imaging is None or facts.final is None or facts.site is None or facts.target is None:
        return ""
    plan = facts.imaging.plan.at(facts.site)
    if unreachable(plan) is not None:
        return ""
    errors = (facts.imaging.tolerance_rad(facts.target), facts.final.total_rad)
    seconds, blur = blur_by_exposure(plan, facts.target, np.clip(errors, SMALLEST_RAD, LARGEST_RAD))
    blur = np.maximum(blur, LEAST_PX)
    allowed = plan.allowed_blur_px
    low = max(LEAST_PX, min(float(blur.min()), allowed) / 1.5)
    high = max(float(blur.max()), allowed) * 1.5
    picture = Picture(width, 270, "Blur of an exposure against its length")
    along = (math.log10(float(seconds[0])), math.log10(float(seconds[-1])))
    frame = Frame(64, 14, width - 84, 206, along, (low, high), math.log10)
    _ground(picture, frame, allowed, low, high)
    for index, colour, dash, words in ((0, INK, "5 3", "needed"), (1, ACCENT, "", "achieved")):
        points = [(frame.x(math.log10(s)), frame.y(b)) for s, b in zip(seconds, blur[:, index])]
        picture.line(points, colour, 1.8, dash)
        here = float(blur[int(np.argmin(np.abs(seconds - plan.sub_s))), index])
        x, y = frame.x(math.log10(plan.sub_s)), frame.y(here)
        picture.circle(x, y, 3.5, colour, 1.6, PAPER if index == 0 else colour)
        _legend(picture, frame, index, colour, dash, f"{words}: {angle_text(errors[index])}, {pixels_text(here)}")
    return picture.svg()


def _ground(picture: Picture, frame: Frame, allowed: float, low: float, high: float) -> None:
    """What is allowed as a floor, lines at round blurs, lengths along the bottom."""
    floor, base = frame.y(allowed), frame.top + frame.height
    picture.area(frame.left, floor, frame.width, base - floor, FLOOR)
    for tick in (t for t in BLURS_PX if low <= t <= high):
        y = frame.y(tick)
        picture.line([(frame.left, y), (frame.left + frame.width, y)], LINE, 0.7)
        picture.text(frame.left - 8, y + 4, f"{tick:g} px", 11, "end")
    picture.text(frame.left + frame.width - 6, base - 6, f"allowed: {allowed:g} px", 11, "end", INK)
    picture.line([(frame.left, base), (frame.left + frame.width, base)], LINE, 1)
    for x, words in _apart((frame.x(math.log10(t)), _length(t)) for t in TIMES_S):
        if frame.left <= x <= frame.left + frame.width:
            picture.line([(x, base), (x, base + 4)], FAINT, 1)
            picture.text(x, base + 16, words, anchor="middle")
    picture.text(frame.left + frame.width, base + 31, "length of one exposure", anchor="end")


def _legend(picture: Picture, frame: Frame, row: int, colour: str, dash: str, words: str) -> None:
    y = frame.top + 14 + 18 * row
    picture.area(frame.left + 40, y - 8, 6.4 * len(words) + 4, 16, PAPER)
    picture.line([(frame.left + 8, y), (frame.left + 36, y)], colour, 1.8, dash)
    picture.text(frame.left + 42, y + 4, words, 11, colour=colour)


def _apart(labels: Iterable[tuple[float, str]]) -> list[tuple[float, str]]:
    """Of places with words, rising, those that leave each other room."""
    kept: list[tuple[float, str]] = []
    for x, words in labels:
        if not kept or x - kept[-1][0] >= LABEL_PX:
            kept.append((x, words))
    return kept


def _length(seconds: float) -> str:
    return duration_text(seconds) if seconds >= 1.0 else f"{number_text(seconds)} s"
