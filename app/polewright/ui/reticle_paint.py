"""How the well is drawn: its ground (rings, floor, words) and its marks (trail, path, gate, marker)."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF, QRadialGradient

from polewright.ui.drawing import CENTRE, WRAP, draw_fitted, draw_text, star_path
from polewright.ui.look import BODY, SMALL, VALUE, Look
from polewright.ui.view_model import Point, Reticle, TrailPoint
from polewright.ui.well_scale import FLOOR_FRACTION, WellScale, ellipse_outline

DIAGONAL = pi / 4
MARKER_PX = 20


@dataclass(frozen=True)
class Canvas:
    """The well on the screen: centre and radius in pixels, and which side east is on."""

    look: Look
    scale: WellScale
    centre: QPointF
    radius_px: float
    southern: bool
    marks: float = 1.0  # larger marks for reading from two metres

    def at(self, toward_east: float, toward_up: float) -> QPointF:
        """Pixels of a place given as fractions of the radius."""
        x = -toward_east if self.southern else toward_east
        return QPointF(self.centre.x() + x * self.radius_px, self.centre.y() - toward_up * self.radius_px)

    def place(self, point: Point | TrailPoint) -> QPointF:
        """Pixels of a place on the sky."""
        return self.at(*self.scale.place(point.east_arcmin, point.up_arcmin))


def draw_ground(
    painter: QPainter, canvas: Canvas, tolerance_text: str, labels_up: tuple[bool, bool] = (False, False)
) -> None:
    """The disc, the rings with their labels, the soft floor and the words around.

    `labels_up`: the labels of the rings stand to the upper left, because the marker is at the lower left; that of the
    tolerance to the upper right, because it is at the lower right.
    """
    rings_down, tolerance_down = (-1.0 if up else 1.0 for up in labels_up)
    look, c, r = canvas.look, canvas.centre, canvas.radius_px
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(look.colour("raised"))
    painter.drawEllipse(c, r, r)
    _draw_floor(painter, canvas)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    _draw_axes(painter, canvas)
    for fraction, _ in canvas.scale.rings():
        rim = fraction > 0.999
        painter.setPen(look.pen("shade" if rim else "line", 2.0 if rim else 1.2))
        painter.drawEllipse(c, r * fraction, r * fraction)
    for fraction, label in canvas.scale.rings():
        _draw_ring_label(painter, canvas, fraction, label, rings_down)
    _draw_directions(painter, canvas)
    if tolerance_text:
        _draw_tolerance(painter, canvas, tolerance_text, tolerance_down)


def _draw_floor(painter: QPainter, canvas: Canvas) -> None:
    look, c = canvas.look, canvas.centre
    floor = canvas.radius_px * FLOOR_FRACTION
    soft = QRadialGradient(c, floor * 1.16)
    soft.setColorAt(0.0, look.colour("floor"))
    soft.setColorAt(0.86, look.colour("floor"))
    soft.setColorAt(1.0, look.colour("raised"))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QBrush(soft))
    painter.drawEllipse(c, floor * 1.16, floor * 1.16)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(look.pen("ink", 2.0))
    painter.drawEllipse(c, floor, floor)


def _draw_axes(painter: QPainter, canvas: Canvas) -> None:
    c, r = canvas.centre, canvas.radius_px
    painter.setPen(canvas.look.pen("line", 1.0))
    gap = r * FLOOR_FRACTION * 1.16
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        painter.drawLine(QPointF(c.x() + dx * gap, c.y() + dy * gap), QPointF(c.x() + dx * r, c.y() + dy * r))
    painter.setPen(canvas.look.pen("ink", 1.5))
    tick = canvas.look.px(6)
    painter.drawLine(QPointF(c.x() - tick, c.y()), QPointF(c.x() + tick, c.y()))
    painter.drawLine(QPointF(c.x(), c.y() - tick), QPointF(c.x(), c.y() + tick))


def _draw_ring_label(painter: QPainter, canvas: Canvas, fraction: float, label: str, down: float) -> None:
    look, r = canvas.look, canvas.radius_px * fraction
    middle = QPointF(canvas.centre.x() - r * cos(DIAGONAL), canvas.centre.y() + down * r * sin(DIAGONAL))
    box = QRectF(middle.x() - look.px(30), middle.y() - look.px(10), look.px(60), look.px(20))
    _on_patch(painter, canvas, box, label)


def _on_patch(painter: QPainter, canvas: Canvas, box: QRectF, text: str) -> None:
    """A small label on a patch of the well's own colour, so that no line runs through it."""
    look = canvas.look
    font = look.font(SMALL)
    width = QFontMetricsF(font).horizontalAdvance(text) + look.px(8)
    patch = QRectF(box.center().x() - width / 2, box.top(), width, box.height())
    painter.setPen(Qt.PenStyle.NoPen)
    inside = hypot(patch.center().x() - canvas.centre.x(), patch.center().y() - canvas.centre.y())
    painter.setBrush(look.colour("raised" if inside < canvas.radius_px * 0.97 else "ground"))
    painter.drawRoundedRect(patch, look.px(3), look.px(3))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setFont(font)
    painter.setPen(look.colour("faint"))
    draw_text(painter, patch, CENTRE, text)


def _draw_tolerance(painter: QPainter, canvas: Canvas, text: str, down: float) -> None:
    """What the floor stands for, beside it on the free diagonal."""
    look, r = canvas.look, canvas.radius_px * FLOOR_FRACTION
    edge = QPointF(canvas.centre.x() + r * cos(DIAGONAL), canvas.centre.y() + down * r * sin(DIAGONAL))
    out = edge + QPointF(look.px(16), down * look.px(16))
    painter.setPen(look.pen("ink", 1.2))
    painter.drawLine(edge, out)
    width = QFontMetricsF(look.font(SMALL)).horizontalAdvance(text)
    top = out.y() - look.px(4 if down > 0.0 else 16)
    _on_patch(painter, canvas, QRectF(out.x() + look.px(2), top, width + look.px(8), look.px(20)), text)


def _draw_directions(painter: QPainter, canvas: Canvas) -> None:
    look, c, r = canvas.look, canvas.centre, canvas.radius_px
    painter.setFont(look.font(SMALL, QFont.Weight.DemiBold))
    painter.setPen(look.colour("ink"))
    left, right = ("east", "west") if canvas.southern else ("west", "east")
    high, wide, inset = look.px(20), look.px(60), look.px(8)
    boxes = {
        "high": QRectF(c.x() - wide / 2, c.y() - r - high - look.px(2), wide, high),
        "low": QRectF(c.x() - wide / 2, c.y() + r + look.px(2), wide, high),
    }
    for text, box in boxes.items():
        draw_text(painter, box, CENTRE, text)
    for text, x in ((left, c.x() - r + inset), (right, c.x() + r - inset - wide)):
        align = Qt.AlignmentFlag.AlignLeft if x < c.x() else Qt.AlignmentFlag.AlignRight
        draw_text(painter, QRectF(x, c.y() - high - look.px(2), wide, high), int(align), text)


def draw_marks(
    painter: QPainter, canvas: Canvas, reticle: Reticle, marker: tuple[float, float], pulse: float
) -> None:
    """Trail, path and gate, then the marker at its place on its way; `pulse` 0..1 is the age of the fresh ring."""
    _draw_trail(painter, canvas, reticle.trail)
    if reticle.axis is None:
        _draw_empty(painter, canvas, reticle.empty_text)
        return
    if not reticle.stale_text:
        _draw_path(painter, canvas, reticle)
    _draw_marker(painter, canvas, reticle, marker)
    if pulse < 1.0:
        pen = canvas.look.pen("strong", 3.0 * (1.0 - pulse) + 0.5)
        colour = canvas.look.between("strong", "raised", pulse)
        pen.setColor(colour)
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        size = canvas.look.px(18 + 64 * pulse) * canvas.marks
        painter.drawEllipse(canvas.at(*marker), size, size)


def _draw_trail(painter: QPainter, canvas: Canvas, trail: tuple[TrailPoint, ...]) -> None:
    """A thin line, dashed ever more openly into the past, with a tick across it at each screw move."""
    if len(trail) < 2:
        return
    look = canvas.look
    places = [canvas.place(p) for p in trail]
    count = len(places)
    pen = look.pen("ink", 1.6)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    for part, gap in ((0, 7.0), (1, 3.5), (2, 0.0)):
        first, last = count * part // 3, min(count - 1, count * (part + 1) // 3)
        if last <= first:
            continue
        if gap:
            pen.setDashPattern([2.5, gap])
        else:
            pen.setStyle(Qt.PenStyle.SolidLine)
        painter.setPen(pen)
        painter.drawPolyline(QPolygonF(places[first : last + 1]))
    painter.setPen(look.pen("ink", 2.4))
    for i in range(1, count):
        if trail[i].move:
            _draw_tick(painter, places[i - 1], places[i], look.px(6))


def _draw_tick(painter: QPainter, before: QPointF, at: QPointF, half: float) -> None:
    d = at - before
    length = hypot(d.x(), d.y()) or 1.0
    side = QPointF(-d.y() / length * half, d.x() / length * half)
    painter.drawLine(before - side, before + side)


def _draw_path(painter: QPainter, canvas: Canvas, reticle: Reticle) -> None:
    """The curve the marker will follow, ending in the gate to drive it through."""
    if len(reticle.path) < 2:
        return
    look = canvas.look
    places = [canvas.place(p) for p in reticle.path]
    pen = QPen(look.colour("accent"), look.px(3.4) * canvas.marks)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setDashPattern([0.1, 2.4])
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    line = QPainterPath(places[0])
    for p in places[1:]:
        line.lineTo(p)
    painter.drawPath(line)
    _draw_gate(painter, canvas, places[-2], places[-1])


def _draw_gate(painter: QPainter, canvas: Canvas, before: QPointF, at: QPointF) -> None:
    """Two posts with a way between them, standing across the path."""
    look = canvas.look
    d = at - before
    turn = atan2(d.y(), d.x())
    along, across = QPointF(cos(turn), sin(turn)), QPointF(-sin(turn), cos(turn))
    pen = QPen(look.colour("accent"), look.px(4.5) * canvas.marks)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    painter.setPen(pen)
    reach, opening = look.px(9) * canvas.marks, look.px(23) * canvas.marks
    for side in (-1.0, 1.0):
        post = at + across * (side * opening)
        painter.drawLine(post - along * reach, post + along * reach)


def _draw_marker(painter: QPainter, canvas: Canvas, reticle: Reticle, marker: tuple[float, float]) -> None:
    look, at = canvas.look, canvas.at(*marker)
    _draw_ellipse(painter, canvas, reticle, marker)
    assert reticle.axis is not None
    stale = bool(reticle.stale_text)
    star = star_path(at, look.px(MARKER_PX) * canvas.marks)
    halo = QPen(look.colour("raised"), look.px(6))
    halo.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setPen(halo)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(star)
    pen = look.pen("strong", 2.6)
    pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    if stale:
        pen.setDashPattern([2.0, 1.6])
    hollow = stale or reticle.unsure
    painter.setPen(pen)
    painter.setBrush(look.colour("raised") if hollow else look.colour("strong"))
    painter.drawPath(star)
    if stale:
        _draw_caption(painter, canvas, at, reticle.stale_text)
    elif canvas.scale.beyond(reticle.axis.east_arcmin, reticle.axis.up_arcmin):
        _draw_caption(painter, canvas, at, "more than 10° off")


def _draw_ellipse(painter: QPainter, canvas: Canvas, reticle: Reticle, marker: tuple[float, float]) -> None:
    """The 95 % ellipse around the measured place, carried along with the marker while it glides."""
    assert reticle.axis is not None
    true = canvas.scale.place(reticle.axis.east_arcmin, reticle.axis.up_arcmin)
    shift = canvas.at(*marker) - canvas.at(*true)
    outline = ellipse_outline(
        canvas.scale, reticle.axis.east_arcmin, reticle.axis.up_arcmin, reticle.covariance_arcmin2
    )
    pen = canvas.look.pen("strong", 1.8)
    if reticle.stale_text:
        pen.setDashPattern([4.0, 4.0])
    pen.setWidthF(pen.widthF() * canvas.marks)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolygon(QPolygonF([canvas.at(*p) + shift for p in outline]))


def _draw_caption(painter: QPainter, canvas: Canvas, at: QPointF, text: str) -> None:
    """Words beside the marker, on the side that has room."""
    look = canvas.look
    font = look.font(BODY, QFont.Weight.DemiBold)
    width = QFontMetricsF(font).horizontalAdvance(text) + look.px(14)
    left = at.x() > canvas.centre.x()
    x = at.x() - look.px(26) - width if left else at.x() + look.px(26)
    box = QRectF(x, at.y() - look.px(14), width, look.px(28))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(look.colour("raised"))
    painter.drawRoundedRect(box, look.px(4), look.px(4))
    painter.setPen(look.colour("strong"))
    painter.setFont(font)
    draw_text(painter, box, CENTRE, text)


def _draw_empty(painter: QPainter, canvas: Canvas, text: str) -> None:
    if not text:
        return
    look, r = canvas.look, canvas.radius_px
    box = QRectF(canvas.centre.x() - r * 0.6, canvas.centre.y() - r * 0.62, r * 1.2, r * 0.36)
    draw_fitted(painter, text, box, look.px(VALUE), look.colour("ink"), flags=CENTRE | WRAP)
