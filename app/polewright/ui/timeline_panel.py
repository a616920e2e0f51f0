"""The night as a curve: how far off the axis was, how sure that was, and when the screws were turned.

The vertical scale is the logarithm of the offset; the band is one sigma; the shaded part at the bottom is the
tolerance; two rows above the curve, one a screw, hold an upright stroke for each move of it.
"""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QMouseEvent, QPainter
from PySide6.QtWidgets import QWidget

from polewright.core.model import FloatArray
from polewright.core.screws.angles import Screw
from polewright.ui.axes import Axes
from polewright.ui.drawing import LEFT, RIGHT, draw_fitted
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import Timeline

FLOOR_ARCMIN = 1.0 / 60.0
ROWS = {Screw.AZIMUTH: ("az", 25.0), Screw.ALTITUDE: ("alt", 10.0)}  # name, design pixels above the curve's room
STROKE_PX, ROWS_PX, APART_PX = 4.5, 34.0, 18.0  # half a stroke, both rows, two names at least
ANGLE_TICKS = ((600.0, "10°"), (60.0, "1°"), (10.0, "10′"), (1.0, "1′"), (1 / 6, "10″"), (1 / 60, "1″"))
TIME_STEPS_S = (60, 120, 300, 600, 1200, 1800, 3600, 7200)
MOST_TICKS = 4.5


class TimelinePanel(Panel):
    """Shows a `Timeline`; in a replay a click or drag on it asks for that moment: `scrubbed` carries seconds."""

    scrubbed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.timeline: Timeline | None = None
        self._axes: Axes | None = None

    def show_timeline(self, timeline: Timeline) -> None:
        """Show another state."""
        if timeline is not self.timeline:
            self.timeline = timeline
            self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        px, look, shown = self.look.px, self.look, self.timeline
        caption = QRectF(box.left(), box.top(), box.width(), px(22))
        draw_fitted(painter, "offset of the axis, by time", caption, px(SMALL), look.colour("faint"), flags=LEFT)
        if shown is None:
            return
        rows_px = px(ROWS_PX if shown.moves else APART_PX / 2)
        room = box.adjusted(px(36), px(24) + rows_px, -px(10), -px(24))
        low, high = (_log(shown.total_arcmin + side * shown.sigma_arcmin) for side in (-1.0, 1.0))
        axes = self._axes = _axes(shown, room, low, high)
        axes.below(painter, look, float(np.log10(shown.tolerance_arcmin)))
        painter.save()
        painter.setClipRect(room.adjusted(0.0, -rows_px, 1.0, 0.0))
        axes.band(painter, QBrush(look.between("ground", "ink", 0.28)), shown.time_s, low, high)
        axes.line(painter, look.pen("strong", 2.0), shown.time_s, _log(shown.total_arcmin))
        painter.restore()
        painter.setPen(look.pen("line", 1.0))
        painter.drawPolyline([room.topLeft(), room.bottomLeft(), room.bottomRight()])
        named = [(float(np.log10(a)), text) for a, text in ANGLE_TICKS]
        axes.ticks_left(painter, look, named, APART_PX, False, ROWS[Screw.ALTITUDE][1] if shown.moves else None)
        axes.ticks_below(painter, look, _minutes(axes.x[1]), False)
        self._draw_moves(painter, shown, axes)
        if shown.position_s is not None:
            x = axes.x_px(shown.position_s)
            painter.setPen(look.pen("strong", 2.5))
            painter.drawLine(QPointF(x, room.top() - rows_px), QPointF(x, room.bottom()))

    def _draw_moves(self, painter: QPainter, shown: Timeline, axes: Axes) -> None:
        """A stroke for each move, in the row of its screw."""
        px, look = self.look.px, self.look
        if not shown.moves:
            return
        for name, above in ROWS.values():
            row = QRectF(0.0, axes.room.top() - px(above) - px(10), axes.room.left() - px(6), px(20))
            draw_fitted(painter, name, row, px(SMALL), look.colour("faint"), flags=RIGHT)
        painter.setPen(look.pen("ink", 1.6))
        for move in shown.moves:
            x, y = axes.x_px(move.time_s), axes.room.top() - px(ROWS[move.screw][1])
            painter.drawLine(QPointF(x, y - px(STROKE_PX)), QPointF(x, y + px(STROKE_PX)))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        axes, shown = self._axes, self.timeline
        if axes is not None and shown is not None and shown.position_s is not None:
            share = (event.position().x() - axes.room.left()) / max(1.0, axes.room.width())
            self.scrubbed.emit(max(0.0, share) * axes.x[1])

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.mousePressEvent(event)


def _log(arcmin: FloatArray) -> FloatArray:
    return np.log10(np.maximum(arcmin, FLOOR_ARCMIN))


def _axes(shown: Timeline, room: QRectF, low: FloatArray, high: FloatArray) -> Axes:
    """From the start to now or to where a replay stands, a minute at least; the tolerance is always in sight."""
    aim = float(np.log10(shown.tolerance_arcmin))
    end = max(60.0, float(shown.time_s[-1]) if shown.time_s.size else 60.0, shown.position_s or 0.0)
    top = max(float(np.max(high)) if high.size else 1.0, aim) + 0.35
    bottom = min(float(np.min(low)) if low.size else 0.0, aim) - 0.35
    return Axes(room, (0.0, end), (max(bottom, float(np.log10(FLOOR_ARCMIN)) - 0.2), top))


def _minutes(end_s: float) -> list[tuple[float, str]]:
    step = next((s for s in TIME_STEPS_S if end_s / s <= MOST_TICKS), 14400)
    return [(float(s), f"{s // 60} min") for s in range(step, int(end_s) + 1, step)]
