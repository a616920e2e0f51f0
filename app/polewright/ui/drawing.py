"""Small pieces of drawing shared by the painted widgets: fitted text, curved arrows, the marker.

Decided 2026-11-25. All text is drawn by one function that shrinks it until it fits; text that does not fit at 12 px
is noted in a ledger which the screen tests read. That is how "no clipped text" is a test and not a hope.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QPixmap, QPolygonF

from polewright.ui.look import SMALLEST_PX, plain_font

LEFT_TOP = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
CENTRE = int(Qt.AlignmentFlag.AlignCenter)
TOP_CENTRE = int(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
WRAP = int(Qt.TextFlag.TextWordWrap)


def fitted_font(
    text: str, box: QRectF, largest_px: float, weight: QFont.Weight, flags: int, smallest_px: float = SMALLEST_PX
) -> tuple[QFont, QRectF]:
    """The largest font up to `largest_px` in which the text lies inside the box, and the room it takes; see `fit`."""
    return fit(text, box.width(), box.height(), largest_px, weight, flags, smallest_px)


# of the open hand, in halves of its height: root x, tip x and y (down); the thumb comes last
FINGERS = ((-0.46, -0.58, -0.60), (-0.16, -0.20, -0.84), (0.15, 0.19, -0.82), (0.44, 0.55, -0.56), (0.40, 0.98, 0.02))


@lru_cache(maxsize=2048)
def fit(
    text: str, width: float, height: float, largest_px: float, weight: QFont.Weight, flags: int, smallest_px: float
) -> tuple[QFont, QRectF]:
    """The largest font up to `largest_px` in which the text lies wholly inside the box, and the room it takes.

    At the smallest size the text may not fit; then the returned room is larger than the box, which tests look for.
    """
    size = max(smallest_px, largest_px)
    while True:
        font = plain_font(round(size), weight)
        metrics = QFontMetricsF(font)
        room = metrics.boundingRect(QRectF(0, 0, width, 10000.0), flags & ~int(Qt.AlignmentFlag.AlignVCenter), text)
        longest = max((metrics.horizontalAdvance(word) for word in text.split()), default=0.0)
        if (room.height() <= height and max(room.width(), longest) <= width) or size <= smallest_px:
            return font, room
        size = max(smallest_px, size - max(1.0, size * 0.04))


@dataclass(frozen=True)
class Drawn:
    """A text as it was painted: where, in pixels of what was painted on, and how large. `kept`: on a picture that
    the well keeps, not on the window."""

    text: str
    room: QRectF
    pixels: int
    bold: bool
    kept: bool


class Ledger:
    """Where painted widgets note text that did not fit and, while `drawn` is a list, all text; only tests read it."""

    def __init__(self) -> None:
        self.overflows: list[str] = []
        self.drawn: list[Drawn] | None = None


LEDGER = Ledger()


def draw_fitted(
    painter: QPainter,
    text: str,
    box: QRectF,
    largest_px: float,
    colour: QColor,
    weight: QFont.Weight = QFont.Weight.Normal,
    flags: int = LEFT_TOP | WRAP,
) -> QRectF:
    """Draw text as large as it fits and return the part of the box that it fills."""
    if not text:
        return QRectF(box.left(), box.top(), 0.0, 0.0)
    font, room = fitted_font(text, box, largest_px, weight, flags)
    if room.height() > box.height() + 1.0 or room.width() > box.width() + 1.0:
        LEDGER.overflows.append(text)
    painter.setFont(font)
    painter.setPen(colour)
    draw_text(painter, box, flags, text)
    return QRectF(box.left(), box.top(), room.width(), min(room.height(), box.height()))


def draw_text(painter: QPainter, box: QRectF, flags: int, text: str) -> None:
    """Draw text in the painter's own font and colour; every text of a painted widget comes through here."""
    painter.drawText(box, flags, text)
    if LEDGER.drawn is not None and text:
        room = painter.boundingRect(box, flags, text)
        font = painter.font()
        bold = font.weight() >= QFont.Weight.DemiBold
        kept = isinstance(painter.device(), QPixmap)
        LEDGER.drawn.append(Drawn(text, painter.deviceTransform().mapRect(room), font.pixelSize(), bold, kept))


def star_path(centre: QPointF, radius: float, waist: float = 0.34) -> QPainterPath:
    """The marker: a four-pointed star, upright, its waist at a fraction of its reach."""
    path = QPainterPath()
    points = [
        QPointF(
            centre.x() + radius * (1.0 if i % 2 == 0 else waist) * sin(i * pi / 4),
            centre.y() - radius * (1.0 if i % 2 == 0 else waist) * cos(i * pi / 4),
        )
        for i in range(8)
    ]
    path.addPolygon(QPolygonF([*points, points[0]]))
    return path


def on_circle(centre: QPointF, radius: float, clock_deg: float) -> QPointF:
    """The point at an angle counted like a clock hand: 0 at the top, + clockwise."""
    a = clock_deg * pi / 180.0
    return QPointF(centre.x() + radius * sin(a), centre.y() - radius * cos(a))


def draw_turn_arrow(
    painter: QPainter, centre: QPointF, radius: float, sweep_deg: float, pen: QPen, head: float
) -> None:
    """An arc from twelve o'clock through `sweep_deg` (+ clockwise) that ends in an arrow head."""
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    sign = 1.0 if sweep_deg >= 0 else -1.0
    head_deg = min(abs(sweep_deg) * 0.95, head / radius * 180.0 / pi)
    box = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
    painter.drawArc(box, 90 * 16, round(-(sweep_deg - sign * head_deg * 0.8) * 16))
    tip = on_circle(centre, radius, sweep_deg)
    back = on_circle(centre, radius, sweep_deg - sign * head_deg)
    draw_head(painter, back, tip, head, pen.color())


def draw_head(painter: QPainter, back: QPointF, tip: QPointF, size: float, colour: QColor) -> None:
    """A filled arrow head whose point is at `tip`, coming from `back`."""
    d = tip - back
    length = (d.x() ** 2 + d.y() ** 2) ** 0.5
    if length == 0.0:
        return
    d = QPointF(d.x() / length, d.y() / length)
    side = QPointF(-d.y(), d.x())
    base = tip - d * size
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QBrush(colour))
    painter.drawPolygon(QPolygonF([tip, base + side * (size * 0.62), base - side * (size * 0.62)]))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def draw_open_hand(painter: QPainter, centre: QPointF, half: float, colour: QColor) -> None:
    """An open hand, palm to the reader: hands off. `half`: from its middle to the tips of the fingers, pixels."""
    pen = QPen(colour, half * 0.30)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    for root_x, tip_x, tip_y in FINGERS:
        root, tip = QPointF(root_x, 0.25) * half, QPointF(tip_x, tip_y) * half
        painter.drawLine(centre + root, centre + tip)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QBrush(colour))
    palm = QRectF(centre.x() - 0.62 * half, centre.y() - 0.05 * half, 1.20 * half, 0.95 * half)
    painter.drawRoundedRect(palm, 0.34 * half, 0.34 * half)
    painter.setBrush(Qt.BrushStyle.NoBrush)
