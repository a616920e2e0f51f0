"""The pictures of the report: the axis in the well, offset against time, the two components against time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.offset import Offset
from polewright.core.screws.angles import Screw
from polewright.services.report.facts import NightFacts
from polewright.services.report.svg import (
    ACCENT,
    FAINT,
    FLOOR,
    INK,
    LINE,
    PAPER,
    Frame,
    Picture,
    draw_time_axis,
    nice_ticks,
)
from polewright.words.numbers import angle_text

_K95 = 2.4477  # of a two-dimensional normal distribution, 95 %


class RadialScale(Protocol):
    """How the well turns angles into fractions of its radius (the window's own scale)."""

    def place(self, east_arcmin: float, up_arcmin: float) -> tuple[float, float]: ...

    def fraction(self, angle_arcmin: float) -> float: ...

    def rings(self) -> tuple[tuple[float, str], ...]: ...


def well(facts: NightFacts, scale: RadialScale, size: float = 460.0) -> str:
    """The sky around the pole as seen behind the mount: path of the axis, the end with its 95 % ellipse."""
    southern = facts.site is not None and facts.site.lat_deg < 0.0
    picture = Picture(size, size, "Path of the axis around the pole")
    centre, radius = 0.5 * size, 0.5 * size - 44.0

    def at(east_arcmin: float, up_arcmin: float) -> tuple[float, float]:
        x, y = scale.place(east_arcmin, up_arcmin)
        return centre + (-x if southern else x) * radius, centre - y * radius

    picture.circle(centre, centre, radius, LINE, 1.5, PAPER)
    picture.circle(centre, centre, scale.fraction(facts.tolerance_rad * ARCMIN_PER_RAD) * radius, INK, 1.5, FLOOR)
    picture.line([(centre - radius, centre), (centre + radius, centre)], LINE, 0.8)
    picture.line([(centre, centre - radius), (centre, centre + radius)], LINE, 0.8)
    for fraction, label in scale.rings():
        picture.circle(centre, centre, fraction * radius, LINE, 1)
        x, y = centre - fraction * radius * math.cos(0.8), centre + fraction * radius * math.sin(0.8)
        picture.area(x - 3.2 * len(label) - 2, y - 6, 6.4 * len(label) + 4, 12, PAPER)
        picture.text(x, y + 4, label, 10, "middle")
    words = ("west", "east") if not southern else ("east", "west")
    picture.text(4, centre + 4, words[0], 11)
    picture.text(size - 4, centre + 4, words[1], 11, "end")
    picture.text(centre, 30, "too high", 11, "middle")
    picture.text(centre, size - 22, "too low", 11, "middle")
    path = [at(*_arcmin(r.offset)) for r in facts.readings]
    picture.line(path, FAINT, 1.2, "1 3")
    for x, y in path[:-1]:
        picture.circle(x, y, 1.6, FAINT, 0, FAINT)
    if path:
        _square(picture, *path[0])
    if facts.final is not None:
        picture.line([at(*p) for p in ellipse_arcmin(facts.final)], ACCENT, 2.0, closed=True)
        x, y = at(*_arcmin(facts.final))
        picture.line([(x - 9, y), (x + 9, y)], ACCENT, 2.4)
        picture.line([(x, y - 9), (x, y + 9)], ACCENT, 2.4)
    return picture.svg()


def offset_in_time(facts: NightFacts, width: float = 760.0) -> str:
    """Total offset, logarithmic, with one-sigma bars; the tolerance as a floor; each move a tick; gaps in grey."""
    picture = Picture(width, 270, "Offset of the axis against time")
    sizes = [max(r.offset.total_rad, 1e-7) * ARCSEC_PER_RAD for r in facts.readings]
    tolerance = max(facts.tolerance_rad * ARCSEC_PER_RAD, 0.5)
    shown = [*(sizes or [60.0]), tolerance]
    low, high = min(shown) / 2.0, max(shown) * 2.0
    frame = Frame(64, 14, width - 84, 190, _span(facts), (low, high), math.log10)
    floor = frame.y(tolerance)
    picture.area(frame.left, floor, frame.width, frame.top + frame.height - floor, FLOOR)
    _draw_gaps(picture, frame, facts)
    _draw_angles(picture, frame, low, high)
    needed = f"needed: {angle_text(facts.tolerance_rad)}"
    picture.text(frame.left + 6, frame.top + frame.height - 6, needed, 11, "start", INK)
    for reading, size in zip(facts.readings, sizes, strict=True):
        x = frame.x(reading.t_s / 60.0)
        sigma = reading.offset.sigma_rad * ARCSEC_PER_RAD
        bar = [(x, frame.y(max(size - sigma, low))), (x, frame.y(min(size + sigma, high)))]
        picture.line(bar, FAINT, 1)
        _mark(picture, x, frame.y(size), reading.source)
    _draw_deeds(picture, frame, facts)
    draw_time_axis(picture, frame, "minutes since the start")
    return picture.svg()


def components_in_time(facts: NightFacts, width: float = 760.0) -> str:
    """East and up over the last part of the night, linear, with one-sigma bars: how it settled."""
    late = _settled(facts)
    picture = Picture(width, 250, "East and up against time, the end of the alignment")
    values = [v * ARCSEC_PER_RAD for r in late for v in (r.offset.east_rad, r.offset.up_rad)]
    reach = max([abs(v) for v in values] + [1.5 * facts.tolerance_rad * ARCSEC_PER_RAD, 1.0]) * 1.1
    start = late[0].t_s / 60.0 if late else 0.0
    frame = Frame(64, 14, width - 84, 180, (start, max(_span(facts)[1], start + 0.5)), (-reach, reach))
    edge = facts.tolerance_rad * ARCSEC_PER_RAD
    picture.area(frame.left, frame.y(edge), frame.width, frame.y(-edge) - frame.y(edge), FLOOR)
    for tick in nice_ticks(-reach, reach, 6):
        picture.line([(frame.left, frame.y(tick)), (frame.left + frame.width, frame.y(tick))], LINE, 0.7)
        picture.text(frame.left - 8, frame.y(tick) + 4, f"{tick:+g}″" if tick else "0", 11, "end")
    for index, colour, dash in ((0, INK, ""), (1, ACCENT, "5 3")):
        points = []
        for r in late:
            value = (r.offset.east_rad, r.offset.up_rad)[index] * ARCSEC_PER_RAD
            sigma = math.sqrt(max(r.offset.covariance_rad2[index][index], 0.0)) * ARCSEC_PER_RAD
            x = frame.x(r.t_s / 60.0)
            points.append((x, frame.y(value)))
            picture.line([(x, frame.y(value - sigma)), (x, frame.y(value + sigma))], colour, 0.8)
        picture.line(points, colour, 1.8, dash)
    picture.line([(frame.left + 8, 24), (frame.left + 36, 24)], INK, 1.8)
    picture.text(frame.left + 42, 28, "east", 11, colour=INK)
    picture.line([(frame.left + 86, 24), (frame.left + 114, 24)], ACCENT, 1.8, "5 3")
    picture.text(frame.left + 120, 28, "up", 11, colour=ACCENT)
    draw_time_axis(picture, frame, "minutes since the start")
    return picture.svg()


def ellipse_arcmin(offset: Offset, points: int = 60) -> list[tuple[float, float]]:
    """(east, up) of the 95 % ellipse."""
    (ee, eu), (_, uu) = offset.covariance_rad2
    half, spread = 0.5 * (ee + uu), math.hypot(0.5 * (ee - uu), eu)
    major, minor = math.sqrt(max(half + spread, 0.0)), math.sqrt(max(half - spread, 0.0))
    turn = 0.5 * math.atan2(2.0 * eu, ee - uu)
    east, up = _arcmin(offset)
    outline = []
    for k in range(points):
        angle = 2.0 * math.pi * k / points
        a = _K95 * major * math.cos(angle) * ARCMIN_PER_RAD
        b = _K95 * minor * math.sin(angle) * ARCMIN_PER_RAD
        outline.append((east + a * math.cos(turn) - b * math.sin(turn), up + a * math.sin(turn) + b * math.cos(turn)))
    return outline


def _arcmin(offset: Offset) -> tuple[float, float]:
    return offset.east_rad * ARCMIN_PER_RAD, offset.up_rad * ARCMIN_PER_RAD


def _span(facts: NightFacts) -> tuple[float, float]:
    return 0.0, max(facts.ended_s / 60.0, 1.0)


def _settled(facts: NightFacts) -> Sequence:  # type: ignore[type-arg]
    """The readings from when the axis last came within ten tolerances, at least the last five."""
    limit = 10.0 * facts.tolerance_rad
    far = [i for i, r in enumerate(facts.readings) if r.offset.total_rad > limit]
    begin = min(far[-1] + 1 if far else 0, max(len(facts.readings) - 5, 0))
    return facts.readings[begin:]


def _draw_angles(picture: Picture, frame: Frame, low: float, high: float) -> None:
    """Lines at round angles, labelled where there is room."""
    last = math.inf
    for arcsec in (1, 3, 10, 30, 60, 180, 600, 1800, 3600, 10800, 36000):
        if not low <= arcsec <= high:
            continue
        y = frame.y(arcsec)
        picture.line([(frame.left, y), (frame.left + frame.width, y)], LINE, 0.7)
        if last - y >= 15.0:
            picture.text(frame.left - 8, y + 4, _short(arcsec), 11, "end")
            last = y


def _short(arcsec: int) -> str:
    if arcsec >= 3600:
        return f"{arcsec // 3600}°"
    return f"{arcsec // 60}′" if arcsec >= 60 else f"{arcsec}″"


def _square(picture: Picture, x: float, y: float) -> None:
    picture.line([(x - 5, y - 5), (x + 5, y - 5), (x + 5, y + 5), (x - 5, y + 5)], INK, 1.8, closed=True)


def _mark(picture: Picture, x: float, y: float, source: str) -> None:
    """A square for a capture, a cross for a proof, a dot for a followed frame."""
    if source == "capture":
        _square(picture, x, y)
    elif source == "proof":
        picture.line([(x - 6, y), (x + 6, y)], ACCENT, 2.4)
        picture.line([(x, y - 6), (x, y + 6)], ACCENT, 2.4)
    else:
        picture.circle(x, y, 2.4, INK, 0, INK)


def _draw_gaps(picture: Picture, frame: Frame, facts: NightFacts) -> None:
    for gap in facts.gaps:
        left, right = frame.x(gap.from_s / 60.0), frame.x(gap.to_s / 60.0)
        picture.area(left, frame.top, max(right - left, 1.5), frame.height, "#e6e3da")


def _draw_deeds(picture: Picture, frame: Frame, facts: NightFacts) -> None:
    """A tick below the plot for each move: azimuth sideways, altitude upright, locks a ring."""
    y = frame.top + frame.height + 48
    for deed in facts.deeds:
        x = frame.x(deed.t_s / 60.0)
        if deed.screw is Screw.AZIMUTH:
            picture.line([(x - 4, y), (x + 4, y)], INK, 2.2)
        elif deed.screw is Screw.ALTITUDE:
            picture.line([(x, y - 5), (x, y + 5)], INK, 2.2)
        else:
            picture.circle(x, y, 3.5, INK, 1.6)
    base = frame.top + frame.height + 31
    picture.text(frame.left, base, "□ capture", 11)
    picture.text(frame.left + 84, base, "• frame", 11)
    picture.text(frame.left + 152, base, "+ proof", 11)
    picture.text(frame.left + 236, base, "below:  − azimuth screw,  | altitude screw,  ○ locks", 11)
    picture.text(frame.left - 8, y + 4, "moves", 11, "end")
