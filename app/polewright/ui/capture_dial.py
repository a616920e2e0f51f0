"""The turn of the RA axis as an arc: frames taken, where the axis stands, and how far it should go."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import CENTRE, WRAP, draw_fitted, draw_head, draw_text, on_circle, star_path
from polewright.ui.look import BIG, BODY, SMALL
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Capture

ROOM_DEG = 90.0  # the arc shows at least so much


class CaptureDial(Panel):
    """Seen from behind the mount, along the axis: the sky turns anticlockwise in the north, clockwise south."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.capture: Capture | None = None

    def show_capture(self, capture: Capture) -> None:
        """Show another state."""
        self.capture = capture
        self.setAccessibleName(f"turned {capture.now_deg or 0.0:.0f}° of {capture.wanted_deg:.0f}°")
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.capture is None:
            return
        look = self.look
        centre = box.center()
        radius = min(box.width(), box.height()) / 2 - look.px(34)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("raised"))
        painter.drawEllipse(centre, radius, radius)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(look.pen("line", 1.2))
        painter.drawEllipse(centre, radius, radius)
        self._draw_rod(painter, centre, radius)
        self._draw_scale(painter, centre, radius)
        self._draw_arcs(painter, centre, radius)
        self._draw_frames(painter, centre, radius)
        self._draw_accuracy(painter, centre, radius)

    def _clock(self, rotation_deg: float) -> float:
        """Clock angle of a rotation: the arc begins left of the top and runs over it, as the sky turns."""
        sense = 1.0 if self.capture is not None and self.capture.southern else -1.0
        return sense * (rotation_deg - self._span() / 2)

    def _span(self) -> float:
        assert self.capture is not None
        return max(ROOM_DEG, self.capture.wanted_deg, *(self.capture.taken_deg or (0.0,)))

    def _draw_scale(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        look = self.look
        for degrees in range(0, round(self._span()) + 1, 5):
            major = degrees % 15 == 0
            painter.setPen(look.pen("shade" if major else "line", 1.6 if major else 1.0))
            inner = radius - look.px(12 if major else 7)
            painter.drawLine(
                on_circle(centre, inner, self._clock(degrees)), on_circle(centre, radius, self._clock(degrees))
            )
            if degrees % 30 == 0:
                at = on_circle(centre, radius + look.px(17), self._clock(degrees))
                painter.setFont(look.font(SMALL))
                painter.setPen(look.colour("faint"))
                draw_text(painter, QRectF(at.x() - 30, at.y() - 12, 60, 24), CENTRE, f"{degrees}°")

    def _draw_rod(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        """What is turned, as a quiet picture: the rod with the tube at one end and the counterweight at the other."""
        assert self.capture is not None
        look = self.look
        angle = self._clock(self.capture.now_deg or 0.0)
        reach = radius - look.px(64)
        pen = QPen(look.colour("hollow"), look.px(14))
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(pen)
        painter.drawLine(on_circle(centre, reach, angle + 180), on_circle(centre, reach, angle))
        painter.save()
        painter.translate(on_circle(centre, reach * 0.80, angle))
        painter.rotate(angle)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("hollow"))
        painter.drawRoundedRect(
            QRectF(-radius * 0.20, -look.px(26), radius * 0.40, look.px(52)), look.px(9), look.px(9)
        )
        painter.restore()
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("hollow"))
        painter.drawEllipse(on_circle(centre, reach * 0.86, angle + 180), look.px(34), look.px(34))
        painter.setBrush(look.colour("raised"))
        painter.drawEllipse(centre, radius * 0.42, radius * 0.42)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(look.pen("line", 1.2))
        painter.drawEllipse(centre, radius * 0.42, radius * 0.42)

    def _draw_arcs(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        assert self.capture is not None
        look, capture = self.look, self.capture
        now = capture.now_deg or 0.0
        track = radius - look.px(34)
        self._arc(painter, centre, track, 0.0, now, QPen(look.colour("ink"), look.px(12)))
        if capture.wanted_deg > now:
            pen = QPen(look.colour("accent"), look.px(3.4))
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            pen.setDashPattern([0.1, 2.4])
            self._arc(painter, centre, track, now, capture.wanted_deg, pen)
            back = on_circle(centre, track, self._clock(capture.wanted_deg - 4.0))
            draw_head(
                painter,
                back,
                on_circle(centre, track, self._clock(capture.wanted_deg)),
                look.px(22),
                look.colour("accent"),
            )
        post = QPen(look.colour("accent"), look.px(4.5))
        post.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(post)
        angle = self._clock(capture.wanted_deg)
        for a, b in ((-26.0, -14.0), (14.0, 26.0)):
            painter.drawLine(
                on_circle(centre, track + look.px(a), angle), on_circle(centre, track + look.px(b), angle)
            )

    def _arc(self, painter: QPainter, centre: QPointF, radius: float, a: float, b: float, pen: QPen) -> None:
        if b <= a:
            return
        if pen.style() == Qt.PenStyle.SolidLine:
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        painter.setPen(pen)
        start = 90.0 - self._clock(a)
        sweep = -(self._clock(b) - self._clock(a))
        box = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
        painter.drawArc(box, round(start * 16), round(sweep * 16))

    def _draw_frames(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        assert self.capture is not None
        look = self.look
        track = radius - look.px(34)
        for i, degrees in enumerate(self.capture.taken_deg):
            at = on_circle(centre, track, self._clock(degrees))
            painter.setPen(QPen(look.colour("raised"), look.px(3)))
            painter.setBrush(look.colour("strong"))
            painter.drawPath(star_path(at, look.px(19)))
            label = on_circle(centre, track - look.px(32), self._clock(degrees))
            painter.setPen(look.colour("ink"))
            painter.setFont(look.font(BODY, QFont.Weight.DemiBold))
            draw_text(painter, QRectF(label.x() - 20, label.y() - 14, 40, 28), CENTRE, str(i + 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_accuracy(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        assert self.capture is not None
        look, capture = self.look, self.capture
        half = radius * 0.38
        count = len(capture.taken_deg)
        rows: tuple[tuple[str, float, Role, QFont.Weight], ...] = (
            (f"{count} {'frame' if count == 1 else 'frames'}", BODY, "ink", QFont.Weight.Normal),
            (capture.accuracy_now or "not known yet", BIG * 1.5, "strong", QFont.Weight.DemiBold),
            (
                f"then {capture.accuracy_next}" if capture.accuracy_next else "",
                BIG * 0.9,
                "accent",
                QFont.Weight.DemiBold,
            ),
        )
        y = centre.y() - look.px(34)
        for text, size, role, weight in rows:
            high = look.px(size) * 1.3
            row = QRectF(centre.x() - half, y, 2 * half, high)
            draw_fitted(painter, text, row, look.px(size), look.colour(role), weight, CENTRE | WRAP)
            y += high
