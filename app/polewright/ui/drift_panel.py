"""The drift of the stars, live: one strip a field, points, the fitted line and its band, and the time still to go."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QPainter
from PySide6.QtWidgets import QWidget

from polewright.ui.axes import Axes, dashed
from polewright.ui.drawing import LEFT, RIGHT, WRAP, draw_fitted
from polewright.ui.look import BODY, SMALL, VALUE
from polewright.ui.panel import Panel
from polewright.ui.view_model import Drift, DriftCurve
from polewright.words.window import NO_FIELD

LEAST_ARCSEC = 1.0  # the scale never shows less than this either way


class DriftPanel(Panel):
    """Up is toward the pole; the empty part on the right is the time still to watch."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.drift = Drift(())

    def show_drift(self, drift: Drift) -> None:
        """Show another state."""
        self.drift = drift
        self.setAccessibleDescription("; ".join(f"{c.title} {c.words}" for c in drift.curves))
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        caption = QRectF(box.left(), box.top(), box.width(), look.px(30))
        draw_fitted(
            painter, "drift of the stars toward the pole", caption, look.px(BODY), look.colour("faint"), flags=LEFT
        )
        if not self.drift.curves:
            middle = box.adjusted(look.px(30), look.px(60), -look.px(30), -look.px(60))
            draw_fitted(painter, NO_FIELD, middle, look.px(VALUE), look.colour("ink"), flags=LEFT | WRAP)
            return
        room = box.adjusted(0, look.px(36), -look.px(6), -look.px(6))
        high = room.height() / max(len(self.drift.curves), 2)
        for index, curve in enumerate(self.drift.curves):
            self._draw_curve(painter, QRectF(room.left(), room.top() + index * high, room.width(), high), curve)

    def _draw_curve(self, painter: QPainter, box: QRectF, curve: DriftCurve) -> None:
        look = self.look
        head = QRectF(box.left(), box.top(), box.width(), look.px(30))
        title = head.adjusted(0, 0, -head.width() * 0.55, 0)
        draw_fitted(painter, curve.title, title, look.px(BODY), look.colour("ink"), QFont.Weight.DemiBold, LEFT)
        draw_fitted(painter, curve.words, head.adjusted(head.width() * 0.46, 0, 0, 0), look.px(BODY),
                    look.colour("strong"), QFont.Weight.DemiBold, RIGHT)  # fmt: skip
        plot = box.adjusted(look.px(52), look.px(34), -look.px(8), -look.px(30))
        end = max(curve.end_s, 30.0)
        middle_s = 0.5 * (curve.at_s[0] + curve.at_s[-1])
        reach = max(LEAST_ARCSEC, *(abs(v) for v in curve.arcsec)) * 1.2
        reach = max(reach, abs(curve.rate_arcsec_s) * max(end - middle_s, middle_s) * 1.1)
        axes = Axes(plot, (0.0, end), (-reach, reach))
        painter.setPen(look.pen("line", 1.0))
        painter.drawRect(plot)
        axes.line(painter, look.pen("line", 1.0), axes.x, (0.0, 0.0))
        if curve.words:
            self._draw_fit(painter, curve, middle_s, axes)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("strong"))
        for point in axes.points(curve.at_s, curve.arcsec).toList():
            painter.drawEllipse(point, look.px(3.0), look.px(3.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        self._draw_scale(painter, plot, box, reach, end)

    def _draw_fit(self, painter: QPainter, curve: DriftCurve, middle_s: float, axes: Axes) -> None:
        """The band, the line so far, and where it leads."""
        look, last = self.look, curve.at_s[-1]
        times = np.linspace(0.0, axes.x[1], 25)
        wide = curve.sigma_arcsec_s * np.abs(times - middle_s)
        painter.save()
        painter.setClipRect(axes.room)
        axes.band(painter, QBrush(look.between("ground", "ink", 0.28)), times, *(
            curve.rate_arcsec_s * (times - middle_s) + side * wide for side in (-1.0, 1.0)
        ))  # fmt: skip
        for pen, ends in (
            (look.pen("ink", 2.2), np.array([0.0, last])),
            (dashed(look.pen("accent", 2.2)), np.array([last, axes.x[1]])),
        ):
            axes.line(painter, pen, ends, curve.rate_arcsec_s * (ends - middle_s))
        painter.restore()

    def _draw_scale(self, painter: QPainter, plot: QRectF, box: QRectF, reach: float, end: float) -> None:
        look = self.look
        for share, sign in ((0.0, "+"), (1.0, "−")):
            row = QRectF(box.left(), plot.top() + share * plot.height() - look.px(11), look.px(48), look.px(22))
            draw_fitted(painter, f"{sign}{reach:.1f}″", row, look.px(SMALL), look.colour("faint"), flags=RIGHT)
        below = QRectF(plot.left(), plot.bottom() + look.px(4), plot.width(), look.px(24))
        minutes, seconds = divmod(round(end), 60)
        draw_fitted(painter, f"{minutes} min {seconds} s", below, look.px(SMALL), look.colour("faint"), flags=RIGHT)
