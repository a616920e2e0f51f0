"""Where a plot's values lie on the screen, and how its lines are drawn: all three plots of the window are painted so.

Why no plotting library: the one at hand took 1.1 s and 25 MB to load (two cores, both busy) for three plots of some
hundred points; its labels can neither shrink until they fit nor say that they did not; and every colour of its own
had to be found and taken away for red light.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFontMetricsF, QPainter, QPen, QPolygonF

from polewright.ui.drawing import CENTRE, RIGHT, draw_fitted
from polewright.ui.look import SMALL, Look

Span = tuple[float, float]
Tick = tuple[float, str]


@dataclass(frozen=True)
class Axes:
    """`x` and `y` are the values at the edges of `room`, in the order of the screen from its lower left corner."""

    room: QRectF
    x: Span
    y: Span

    def at(self, x: float, y: float) -> QPointF:
        """The point of the widget; beyond the room where the values are."""
        return QPointF(self.x_px(x), self.y_px(y))

    def x_px(self, x: Any) -> Any:
        """From the left edge of the widget; a number or an array of them."""
        return self.room.left() + (x - self.x[0]) / max(self.x[1] - self.x[0], 1e-9) * self.room.width()

    def y_px(self, y: Any) -> Any:
        """From the top; a number or an array of them."""
        return self.room.bottom() - (y - self.y[0]) / max(self.y[1] - self.y[0], 1e-9) * self.room.height()

    def points(self, x: ArrayLike, y: ArrayLike) -> QPolygonF:
        """A line's corners; values that are not finite are left out."""
        pairs = np.column_stack([np.asarray(x, dtype=float), np.asarray(y, dtype=float)])
        x_known, y_known = pairs[np.isfinite(pairs).all(axis=1)].T
        return QPolygonF(list(map(QPointF, self.x_px(x_known).tolist(), self.y_px(y_known).tolist())))

    def line(self, painter: QPainter, pen: QPen, x: ArrayLike, y: ArrayLike) -> None:
        """A curve, or a straight line between two places."""
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(self.points(x, y))

    def band(self, painter: QPainter, brush: QBrush, x: ArrayLike, low: ArrayLike, high: ArrayLike) -> None:
        """What lies between two curves."""
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush)
        edge = self.points(x, high)
        for point in reversed(self.points(x, low).toList()):
            edge.append(point)
        painter.drawPolygon(edge)
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def below(self, painter: QPainter, look: Look, y: float) -> None:
        """Fill the room up to a value: what is allowed, like the floor of the well."""
        top = min(max(self.y_px(y), self.room.top()), self.room.bottom())
        painter.fillRect(
            QRectF(self.room.left(), top, self.room.width(), self.room.bottom() - top), look.colour("floor")
        )

    def ticks_left(
        self,
        painter: QPainter,
        look: Look,
        ticks: Iterable[Tick],
        apart: float,
        grid: bool,
        above: float | None = None,
    ) -> None:
        """Names beside the room, the first ones first, as long as they leave each other room. `above`: another name
        stands so far above the room, in design pixels, and keeps its own."""
        px = look.px
        taken = [] if above is None else [self.room.top() - px(above)]
        for value, text in ticks:
            y = self.y_px(value)
            if not self.room.top() <= y <= self.room.bottom() or any(abs(y - other) < px(apart) for other in taken):
                continue
            taken.append(y)
            if grid:
                painter.setPen(look.pen("line", 1.0))
                painter.drawLine(QPointF(self.room.left(), y), QPointF(self.room.right(), y))
            label = QRectF(0.0, y - px(10), self.room.left() - px(6), px(20))
            draw_fitted(painter, text, label, px(SMALL), look.colour("faint"), flags=RIGHT)

    def ticks_below(self, painter: QPainter, look: Look, ticks: Sequence[Tick], grid: bool) -> None:
        """The same beneath the room, from the left."""
        px, metrics, end = look.px, QFontMetricsF(look.font(SMALL)), self.room.left() - look.px(40)
        for value, text in ticks:
            x, wide = self.x_px(value), metrics.horizontalAdvance(text) + px(6)
            if grid:
                painter.setPen(look.pen("line", 1.0))
                painter.drawLine(QPointF(x, self.room.top()), QPointF(x, self.room.bottom()))
            left = min(x - wide / 2, self.room.right() + px(10) - wide)
            if left >= end:
                end = left + wide + px(6)
                label = QRectF(left, self.room.bottom() + px(4), wide, px(22))
                draw_fitted(painter, text, label, px(SMALL), look.colour("faint"), flags=CENTRE)


def dashed(pen: QPen, style: Qt.PenStyle = Qt.PenStyle.DashLine) -> QPen:
    """The same pen, with gaps."""
    pen.setStyle(style)
    return pen
