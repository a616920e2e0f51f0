"""The drift of the stars, live: one strip a field, points, the fitted line and its band, and the time still to go."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QPainter, QPolygonF
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import LEFT, RIGHT, WRAP, draw_fitted
from polewright.ui.look import BODY, SMALL, VALUE
from polewright.ui.panel import Panel
from polewright.ui.view_model import Drift, DriftCurve

Place = Callable[[float, float], QPointF]  # (seconds, arcsec) to a point of the widget
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
            draw_fitted(
                painter, "No field is watched yet.", middle, look.px(VALUE), look.colour("ink"), flags=LEFT | WRAP
            )
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

        def at(seconds: float, arcsec: float) -> QPointF:
            clipped = min(max(arcsec, -reach), reach)
            return QPointF(
                plot.left() + plot.width() * seconds / end, plot.center().y() - plot.height() / 2 * clipped / reach
            )

        painter.setPen(look.pen("line", 1.0))
        painter.drawRect(plot)
        painter.drawLine(at(0.0, 0.0), at(end, 0.0))
        self._draw_fit(painter, curve, end, middle_s, at)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("strong"))
        for seconds, arcsec in zip(curve.at_s, curve.arcsec):
            painter.drawEllipse(at(seconds, arcsec), look.px(3.0), look.px(3.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        self._draw_scale(painter, plot, box, reach, end)

    def _draw_fit(self, painter: QPainter, curve: DriftCurve, end: float, middle_s: float, at: Place) -> None:
        if not curve.words:
            return
        look = self.look
        times = [end * i / 24.0 for i in range(25)]
        mean = [curve.rate_arcsec_s * (t - middle_s) for t in times]
        wide = [curve.sigma_arcsec_s * abs(t - middle_s) for t in times]
        band = [at(t, m + w) for t, m, w in zip(times, mean, wide)]
        band += [at(t, m - w) for t, m, w in reversed(list(zip(times, mean, wide)))]
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(look.between("ground", "ink", 0.28)))
        painter.drawPolygon(QPolygonF(band))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        last = curve.at_s[-1]
        painter.setPen(look.pen("ink", 2.2))
        painter.drawLine(at(0.0, -curve.rate_arcsec_s * middle_s), at(last, curve.rate_arcsec_s * (last - middle_s)))
        ahead = look.pen("accent", 2.2)
        ahead.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(ahead)
        painter.drawLine(
            at(last, curve.rate_arcsec_s * (last - middle_s)), at(end, curve.rate_arcsec_s * (end - middle_s))
        )

    def _draw_scale(self, painter: QPainter, plot: QRectF, box: QRectF, reach: float, end: float) -> None:
        look = self.look
        for share, sign in ((0.0, "+"), (1.0, "−")):
            row = QRectF(box.left(), plot.top() + share * plot.height() - look.px(11), look.px(48), look.px(22))
            draw_fitted(painter, f"{sign}{reach:.1f}″", row, look.px(SMALL), look.colour("faint"), flags=RIGHT)
        below = QRectF(plot.left(), plot.bottom() + look.px(4), plot.width(), look.px(24))
        minutes, seconds = divmod(round(end), 60)
        draw_fitted(painter, f"{minutes} min {seconds} s", below, look.px(SMALL), look.colour("faint"), flags=RIGHT)
