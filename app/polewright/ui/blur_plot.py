"""The blur of a plan against one thing: curves, the allowed line, and where the axis stands.

The height is the logarithm of the blur. What is allowed is filled like the floor of the well; the error there is now
wears the marker of the well.
"""

from __future__ import annotations

from math import log10

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.ui.axes import Axes, dashed
from polewright.ui.drawing import CENTRE, LEFT, WRAP, draw_fitted, star_path
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import BlurCurve, BlurMark, BlurPlot
from polewright.words.numbers import number_text

TICKS_PX = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
LEAST = 1e-9
BELOW, ABOVE, MOST = 60.0, 4.0, 60.0  # how far the plot reaches from the allowed blur, as factors


class BlurPlotPanel(Panel):
    """Shows a `BlurPlot`, or the sentence that stands in its place."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.plot: BlurPlot | None = None
        self.empty_text = ""

    def show_plot(self, plot: BlurPlot | None, empty_text: str = "") -> None:
        """Show another plot."""
        self.plot, self.empty_text = plot, empty_text
        said = "" if plot is None else "; ".join(f"{m.label}: {number_text(m.blur_px)} px" for m in plot.marks)
        self.setAccessibleDescription(said or empty_text)
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        px, look, plot = self.look.px, self.look, self.plot
        if plot is None:
            draw_fitted(painter, self.empty_text, box, px(SMALL), look.colour("faint"), flags=CENTRE | WRAP)
            return
        self._legend(painter, plot, QRectF(box.left() + px(58), box.top(), box.width() - px(62), px(24)))
        room = box.adjusted(px(58), px(28), -px(10), -px(28))
        axes = blur_axes(plot, room)
        painter.fillRect(room, look.colour("raised"))
        axes.below(painter, look, log10(plot.allowed_px))
        axes.ticks_left(painter, look, [(log10(blur), f"{blur:g} px") for blur in TICKS_PX], 20, True)
        axes.ticks_below(painter, look, [(_along(plot, value), text) for value, text in plot.ticks], True)
        painter.save()
        painter.setClipRect(room)
        axes.line(painter, self._allowed_pen(), axes.x, [log10(plot.allowed_px)] * 2)
        for curve in plot.curves:
            axes.line(painter, self._pen(curve), *_logs(plot, curve))
        painter.restore()
        self._marks(painter, plot, axes)

    def _legend(self, painter: QPainter, plot: BlurPlot, line: QRectF) -> None:
        """Which line is which, in one row."""
        px, font = self.look.px, self.look.font(SMALL)
        entries = [(plot.allowed_text, self._allowed_pen())]
        entries += [(c.label, self._pen(c)) for c in plot.curves if c.label]
        x = line.left()
        for text, pen in entries:
            painter.setPen(pen)
            painter.drawLine(QPointF(x, line.center().y()), QPointF(x + px(30), line.center().y()))
            wide = QFontMetricsF(font).horizontalAdvance(text) + 4
            draw_fitted(
                painter,
                text,
                QRectF(x + px(38), line.top(), wide, line.height()),
                px(SMALL),
                self.look.colour("ink"),
                flags=LEFT,
            )
            x += px(38) + wide + px(24)

    def _allowed_pen(self) -> QPen:
        return dashed(self.look.pen("strong", 2.0))

    def _pen(self, curve: BlurCurve) -> QPen:
        return self.look.pen("strong", 3.2) if curve.strong else self.look.pen("ink", 1.6)

    def _marks(self, painter: QPainter, plot: BlurPlot, axes: Axes) -> None:
        """The marks first, then their names, each where there is room."""
        px, look, room = self.look.px, self.look, axes.room
        places = []
        for mark in plot.marks:
            at = axes.at(_along(plot, mark.x), log10(max(mark.blur_px, LEAST)))
            places.append((mark, QPointF(at.x(), min(max(at.y(), room.top()), room.bottom()))))
        on_curves = [point for curve in plot.curves for point in _closely(axes, *_logs(plot, curve))]
        taken: list[QRectF] = []
        for mark, at in places:
            painter.setPen(dashed(look.pen("shade", 1.2), Qt.PenStyle.DotLine))
            painter.drawLine(at, QPointF(at.x(), room.bottom()))
            self._mark(painter, mark, at)
            taken.append(QRectF(at.x() - px(8), at.y() - px(8), px(16), px(16)))
        for mark, at in places:
            weight = QFont.Weight.DemiBold if mark.now else QFont.Weight.Normal
            wide = QFontMetricsF(look.font(SMALL, weight)).horizontalAdvance(mark.label) + px(8)
            label = _free(at, wide, px(22), px(10), room, taken, on_curves)
            taken.append(label)
            allowed = axes.y_px(log10(plot.allowed_px))
            painter.fillRect(label, look.colour("raised" if label.bottom() < allowed else "floor"))
            draw_fitted(painter, mark.label, label, px(SMALL), look.colour("strong"), weight, CENTRE)

    def _mark(self, painter: QPainter, mark: BlurMark, at: QPointF) -> None:
        px, look = self.look.px, self.look
        painter.setPen(look.pen("strong", 2.0))
        painter.setBrush(look.colour("strong" if mark.now else "raised"))
        if mark.now:
            painter.drawPath(star_path(at, px(10)))
        else:
            painter.drawEllipse(at, px(5.5), px(5.5))
        painter.setBrush(Qt.BrushStyle.NoBrush)


def blur_axes(plot: BlurPlot, room: QRectF) -> Axes:
    """Logarithms of the blur upward, the allowed one always well inside; along the plot's own axis."""
    xs = [_along(plot, float(v)) for curve in plot.curves for v in (curve.x.min(), curve.x.max())]
    least = min(float(curve.blur_px.min()) for curve in plot.curves)
    most = max(float(curve.blur_px.max()) for curve in plot.curves)
    allowed = plot.allowed_px
    low = log10(max(allowed / BELOW, min(least, allowed / 3.0)))
    return Axes(room, (min(xs), max(xs)), (low, log10(min(allowed * MOST, max(most, allowed * ABOVE)))))


def _along(plot: BlurPlot, value: float) -> float:
    return log10(max(value, LEAST)) if plot.log else value


def _logs(plot: BlurPlot, curve: BlurCurve) -> tuple[list[float], list[float]]:
    return [_along(plot, float(x)) for x in curve.x], [log10(max(float(b), LEAST)) for b in curve.blur_px]


def _closely(axes: Axes, x: list[float], y: list[float], between: int = 6) -> list[QPointF]:
    """The curve's corners in pixels, with more points on the straight lines between them."""
    corners = np.arange(len(x))
    at = np.linspace(0.0, len(x) - 1.0, between * (len(x) - 1) + 1)
    return axes.points(np.interp(at, corners, x), np.interp(at, corners, y)).toList()


def _free(
    at: QPointF,
    wide: float,
    high: float,
    gap: float,
    room: QRectF,
    taken: list[QRectF],
    on_curves: list[QPointF],
) -> QRectF:
    """Beside the mark: where nothing is written yet, and best where no curve runs."""
    choices = [
        QRectF(at.x() + side, at.y() + rise, wide, high)
        for rise in (-high - gap / 2, gap / 2, -high / 2, -2.2 * high, 1.4 * high)
        for side in (-wide - gap, gap)
    ]
    free = [c for c in choices if room.contains(c) and not any(c.intersects(t) for t in taken)]
    if free:
        return min(free, key=lambda c: sum(c.contains(point) for point in on_curves))
    x = min(max(at.x() + gap, room.left()), room.right() - wide)
    return QRectF(x, min(max(at.y() - high / 2, room.top()), room.bottom() - high), wide, high)
