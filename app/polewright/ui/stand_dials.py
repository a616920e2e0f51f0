"""How to stand the mount up: a compass seen from above and a tilt seen from the side, one over the other."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import CENTRE, LEFT, draw_fitted, draw_head, draw_text, on_circle
from polewright.ui.look import BIG, BODY, SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import Orientation


class StandDials(Panel):
    """The heading as the magnetic needle reads it, and the axis tilted over the horizon."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.orientation: Orientation | None = None

    def show_orientation(self, orientation: Orientation) -> None:
        """Show other numbers."""
        self.orientation = orientation
        self.setAccessibleName(f"heading {orientation.heading_text}, tilt {orientation.inclination_text}")
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.orientation is None:
            return
        half = box.height() / 2
        self._draw_compass(painter, QRectF(box.left(), box.top(), box.width(), half))
        self._draw_tilt(painter, QRectF(box.left(), box.top() + half, box.width(), half))

    def _draw_compass(self, painter: QPainter, box: QRectF) -> None:
        assert self.orientation is not None
        look, o = self.look, self.orientation
        radius = min(box.height() / 2 - look.px(30), box.width() * 0.25)
        centre = QPointF(box.left() + radius + look.px(38), box.center().y())
        painter.setPen(look.pen("shade", 2.0))
        painter.setBrush(look.colour("raised"))
        painter.drawEllipse(centre, radius, radius)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for degrees in range(0, 360, 10):
            major = degrees % 30 == 0
            painter.setPen(look.pen("shade" if major else "line", 1.5))
            inner = radius - look.px(11 if major else 6)
            painter.drawLine(on_circle(centre, inner, degrees), on_circle(centre, radius, degrees))
        for text, degrees in (("N", 0), ("E", 90), ("S", 180), ("W", 270)):
            at = on_circle(centre, radius + look.px(15), degrees)
            painter.setFont(look.font(BODY, QFont.Weight.DemiBold))
            painter.setPen(look.colour("ink"))
            draw_text(painter, QRectF(at.x() - 16, at.y() - 14, 32, 28), CENTRE, text)
        declination = o.heading_true_deg - o.heading_magnetic_deg
        self._draw_true_north(painter, centre, radius, -declination)
        pen = QPen(look.colour("accent"), look.px(6))
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        tip = on_circle(centre, radius - look.px(14), o.heading_magnetic_deg)
        painter.drawLine(
            on_circle(centre, radius * 0.45, o.heading_magnetic_deg + 180),
            on_circle(centre, radius - look.px(26), o.heading_magnetic_deg),
        )
        draw_head(painter, centre, tip, look.px(22), look.colour("accent"))
        self._draw_label(painter, box, centre.x() + radius + look.px(44), o.heading_text, o.heading_note)

    def _draw_true_north(self, painter: QPainter, centre: QPointF, radius: float, clock_deg: float) -> None:
        """A small open mark on the rim where true north lies on a magnetic compass."""
        look = self.look
        painter.setPen(look.pen("ink", 2.0))
        painter.setBrush(look.colour("raised"))
        painter.drawEllipse(on_circle(centre, radius, clock_deg), look.px(5), look.px(5))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_tilt(self, painter: QPainter, box: QRectF) -> None:
        assert self.orientation is not None
        look, o = self.look, self.orientation
        radius = min(box.height() - look.px(64), box.width() * 0.46)
        corner = QPointF(box.left() + look.px(30), box.center().y() + radius / 2)
        painter.setPen(look.pen("ink", 2.4))
        painter.drawLine(corner, QPointF(corner.x() + radius + look.px(12), corner.y()))
        arc = QRectF(corner.x() - radius, corner.y() - radius, 2 * radius, 2 * radius)
        painter.setPen(look.pen("shade", 2.0))
        painter.drawArc(arc, 0, 90 * 16)
        for degrees in range(0, 91, 5):
            major = degrees % 15 == 0
            painter.setPen(look.pen("shade" if major else "line", 1.5))
            inner = radius - look.px(11 if major else 6)
            painter.drawLine(on_circle(corner, inner, 90 - degrees), on_circle(corner, radius, 90 - degrees))
            if degrees % 30 == 0:
                at = on_circle(corner, radius + look.px(18), 90 - degrees)
                painter.setFont(look.font(SMALL))
                painter.setPen(look.colour("faint"))
                draw_text(painter, QRectF(at.x() - 24, at.y() - 12, 48, 24), CENTRE, f"{degrees}°")
        pen = QPen(look.colour("accent"), look.px(6))
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        clock = 90.0 - o.inclination_deg
        painter.drawLine(corner, on_circle(corner, radius - look.px(26), clock))
        draw_head(painter, corner, on_circle(corner, radius - look.px(14), clock), look.px(22), look.colour("accent"))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("ink"))
        painter.drawEllipse(corner, look.px(6), look.px(6))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        self._draw_label(
            painter, box, corner.x() + radius + look.px(58), o.inclination_text, "above the horizon, from the side"
        )

    def _draw_label(self, painter: QPainter, box: QRectF, left: float, value: str, words: str) -> None:
        look = self.look
        width = max(1.0, box.right() - left)
        y = box.center().y() - look.px(36)
        draw_fitted(
            painter,
            value,
            QRectF(left, y, width, look.px(46)),
            look.px(BIG * 1.25),
            look.colour("strong"),
            QFont.Weight.DemiBold,
            LEFT,
        )
        draw_fitted(
            painter, words, QRectF(left, y + look.px(46), width, look.px(50)), look.px(BODY), look.colour("faint")
        )
