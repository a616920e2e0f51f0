"""Small pictures as SVG text: axes, lines, marks, words. Everything that comes from outside is escaped."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

INK, FAINT, LINE, ACCENT, FLOOR, PAPER = "#12161f", "#5f5e58", "#c9c5b8", "#b03a14", "#d9e2df", "#fcfbf8"
FONT = "font-family='DejaVu Sans, Liberation Sans, Arial, sans-serif'"


@dataclass
class Picture:
    """A drawing of fixed size in user units; `title` is its alternative text."""

    width: float
    height: float
    title: str
    parts: list[str] = field(default_factory=list)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 11,
        anchor: str = "start",
        colour: str = FAINT,
    ) -> None:
        """Words with their base line at (x, y)."""
        self.parts.append(
            f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size:g}' text-anchor='{anchor}' fill='{colour}'>"
            f"{escape(words)}</text>"
        )

    def line(
        self,
        points: Sequence[tuple[float, float]],
        colour: str = INK,
        width: float = 1.5,
        dash: str = "",
        closed: bool = False,
    ) -> None:
        """A line through the points."""
        if len(points) < 2:
            return
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashed = f" stroke-dasharray='{dash}'" if dash else ""
        kind = "polygon" if closed else "polyline"
        self.parts.append(
            f"<{kind} points='{path}' fill='none' stroke='{colour}' stroke-width='{width:g}'{dashed}"
            " stroke-linejoin='round'/>"
        )

    def circle(
        self, x: float, y: float, r: float, colour: str = INK, width: float = 1.2, fill: str = "none", dash: str = ""
    ) -> None:
        """A circle."""
        dashed = f" stroke-dasharray='{dash}'" if dash else ""
        self.parts.append(
            f"<circle cx='{x:.1f}' cy='{y:.1f}' r='{r:.1f}' fill='{fill}' stroke='{colour}'"
            f" stroke-width='{width:g}'{dashed}/>"
        )

    def area(self, x: float, y: float, width: float, height: float, fill: str) -> None:
        """A filled rectangle."""
        self.parts.append(
            f"<rect x='{x:.1f}' y='{y:.1f}' width='{max(width, 0):.1f}' height='{max(height, 0):.1f}' fill='{fill}'/>"
        )

    def svg(self) -> str:
        """The whole drawing."""
        return (
            f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {self.width:g} {self.height:g}'"
            f" width='{self.width:g}' height='{self.height:g}' role='img' {FONT}>"
            f"<title>{escape(self.title)}</title>{''.join(self.parts)}</svg>"
        )


@dataclass(frozen=True)
class Frame:
    """The plotting area of a picture and how numbers become places in it."""

    left: float
    top: float
    width: float
    height: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    y_of: Callable[[float], float] = float

    def x(self, value: float) -> float:
        low, high = self.x_range
        return self.left + self.width * (value - low) / (high - low)

    def y(self, value: float) -> float:
        low, high = (self.y_of(v) for v in self.y_range)
        share = (self.y_of(value) - low) / (high - low)
        return self.top + self.height * (1.0 - min(max(share, 0.0), 1.0))


def nice_ticks(low: float, high: float, most: int = 8) -> list[float]:
    """Round numbers between low and high, at most `most`."""
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * s for s in (1.0, 2.0, 5.0, 10.0) if power * s >= rough)
    first = math.ceil(low / step - 1e-9)
    return [round(step * k, 12) for k in range(first, math.floor(high / step + 1e-9) + 1)]


def draw_time_axis(picture: Picture, frame: Frame, words: str) -> None:
    """Minutes along the bottom."""
    base = frame.top + frame.height
    picture.line([(frame.left, base), (frame.left + frame.width, base)], LINE, 1)
    for tick in nice_ticks(*frame.x_range):
        picture.line([(frame.x(tick), base), (frame.x(tick), base + 4)], FAINT, 1)
        picture.text(frame.x(tick), base + 16, f"{tick:g}", anchor="middle")
    picture.text(frame.left + frame.width, base + 31, words, anchor="end")
