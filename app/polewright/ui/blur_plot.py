"""The blur of a plan against one thing: curves, the allowed line, and where the axis stands. Painted by hand.

The height is the logarithm of the blur. What is allowed is filled like the floor of the well; the error there is now
wears the marker of the well.
"""

from __future__ import annotations

from math import log10

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import CENTRE, LEFT, RIGHT, draw_fitted, star_path
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import BlurCurve, BlurMark, BlurPlot
from polewright.words.numbers import number_text

TICKS_PX = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
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
        px, plot = self.look.px, self.plot
        if plot is None:
            flags = CENTRE | int(Qt.TextFlag.TextWordWrap)
            draw_fitted(painter, self.empty_text, box, px(SMALL), self.look.colour("faint"), flags=flags)
            return
        self._legend(painter, plot, QRectF(box.left() + px(58), box.top(), box.width() - px(62), px(24)))
        room = box.adjusted(px(58), px(28), -px(10), -px(28))
        scale = Scale(plot, room)
        painter.fillRect(room, self.look.colour("raised"))
        allowed = scale.y(plot.allowed_px)
        painter.fillRect(
            QRectF(room.left(), allowed, room.width(), room.bottom() - allowed), self.look.colour("floor")
        )
        self._grid(painter, plot, room, scale)
        self._curves(painter, plot, room, scale, allowed)
        self._marks(painter, plot, room, scale)

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
        pen = self.look.pen("strong", 2.0)
        pen.setStyle(Qt.PenStyle.DashLine)
        return pen

    def _pen(self, curve: BlurCurve) -> QPen:
        return self.look.pen("strong", 3.2) if curve.strong else self.look.pen("ink", 1.6)

    def _grid(self, painter: QPainter, plot: BlurPlot, room: QRectF, scale: Scale) -> None:
        px, look = self.look.px, self.look
        last = room.bottom() + px(100)
        for blur in TICKS_PX:
            y = scale.y(blur)
            if room.top() <= y <= room.bottom() and last - y >= px(20):
                last = y
                painter.setPen(look.pen("line", 1.0))
                painter.drawLine(QPointF(room.left(), y), QPointF(room.right(), y))
                label = QRectF(room.left() - px(58), y - px(10), px(52), px(20))
                draw_fitted(painter, f"{blur:g} px", label, px(SMALL), look.colour("faint"), flags=RIGHT)
        metrics, end = QFontMetricsF(look.font(SMALL)), room.left() - px(40)
        for value, text in plot.ticks:
            x, wide = scale.x(value), metrics.horizontalAdvance(text) + px(6)
            painter.setPen(look.pen("line", 1.0))
            painter.drawLine(QPointF(x, room.top()), QPointF(x, room.bottom()))
            left = min(x - wide / 2, room.right() + px(10) - wide)
            if left >= end:
                end = left + wide + px(6)
                label = QRectF(left, room.bottom() + px(4), wide, px(22))
                draw_fitted(painter, text, label, px(SMALL), look.colour("faint"), flags=CENTRE)

    def _curves(self, painter: QPainter, plot: BlurPlot, room: QRectF, scale: Scale, allowed: float) -> None:
        painter.save()
        painter.setClipRect(room)
        painter.setPen(self._allowed_pen())
        painter.drawLine(QPointF(room.left(), allowed), QPointF(room.right(), allowed))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for curve in plot.curves:
            painter.setPen(self._pen(curve))
            painter.drawPolyline(QPolygonF(self._points(curve, scale)))
        painter.restore()

    def _points(self, curve: BlurCurve, scale: Scale, between: int = 1) -> list[QPointF]:
        """The curve's corners in pixels, with more points on the straight lines between them."""
        x = np.array([scale.x(float(v)) for v in curve.x])
        y = np.array([scale.y(float(b)) for b in curve.blur_px])
        at = np.linspace(0.0, len(x) - 1.0, between * (len(x) - 1) + 1)
        corners = np.arange(len(x))
        return [QPointF(a, b) for a, b in zip(np.interp(at, corners, x), np.interp(at, corners, y))]

    def _marks(self, painter: QPainter, plot: BlurPlot, room: QRectF, scale: Scale) -> None:
        """The marks first, then their names, each where there is room."""
        px, look = self.look.px, self.look
        places = [
            (m, QPointF(scale.x(m.x), min(max(scale.y(m.blur_px), room.top()), room.bottom()))) for m in plot.marks
        ]
        taken: list[QRectF] = []
        on_curves = [point for curve in plot.curves for point in self._points(curve, scale, 6)]
        for mark, at in places:
            pen = look.pen("shade", 1.2)
            pen.setStyle(Qt.PenStyle.DotLine)
            painter.setPen(pen)
            painter.drawLine(at, QPointF(at.x(), room.bottom()))
            self._mark(painter, mark, at)
            taken.append(QRectF(at.x() - px(8), at.y() - px(8), px(16), px(16)))
        for mark, at in places:
            weight = QFont.Weight.DemiBold if mark.now else QFont.Weight.Normal
            wide = QFontMetricsF(look.font(SMALL, weight)).horizontalAdvance(mark.label) + px(8)
            label = _free(at, wide, px(22), px(10), room, taken, on_curves)
            taken.append(label)
            painter.fillRect(label, look.colour("raised" if label.bottom() < scale.y(plot.allowed_px) else "floor"))
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


class Scale:
    """From a place on the plot to a pixel in `room`."""

    def __init__(self, plot: BlurPlot, room: QRectF) -> None:
        self._log, self._room = plot.log, room
        xs = np.concatenate([curve.x for curve in plot.curves])
        self._left, self._right = self._along(float(xs.min())), self._along(float(xs.max()))
        blurs = np.concatenate([curve.blur_px for curve in plot.curves])
        least, most = float(blurs.min()), float(blurs.max())
        allowed = plot.allowed_px
        self._low = log10(max(allowed / BELOW, min(least, allowed / 3.0)))
        self._high = log10(min(allowed * MOST, max(most, allowed * ABOVE)))

    def _along(self, value: float) -> float:
        return log10(max(value, 1e-9)) if self._log else value

    def x(self, value: float) -> float:
        """Pixels from the left edge of the panel."""
        share = (self._along(value) - self._left) / max(self._right - self._left, 1e-9)
        return self._room.left() + share * self._room.width()

    def y(self, blur_px: float) -> float:
        """Pixels from the top."""
        share = (log10(max(blur_px, 1e-9)) - self._low) / max(self._high - self._low, 1e-9)
        return self._room.bottom() - share * self._room.height()


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
