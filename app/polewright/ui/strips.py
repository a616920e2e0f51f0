"""The two screw strips: how much is left to turn, and which way, as seen by the hand on that screw.

The azimuth strip lies under the well and the altitude strip stands beside it, so that each bar is the marker's own
distance from the middle. The dial shows a turn as the hand makes it: a quarter turn is a quarter of the circle.
"""

from __future__ import annotations

from math import asinh

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.core.screws.angles import Screw
from polewright.ui.drawing import (
    CENTRE,
    LEFT,
    TOP_CENTRE,
    WRAP,
    draw_fitted,
    draw_open_hand,
    draw_text,
    draw_turn_arrow,
    on_circle,
)
from polewright.ui.look import BODY, SMALL, Look
from polewright.ui.panel import Panel
from polewright.ui.view_model import ScrewStrip, Sense

FULL_BAR_TURNS = 10.0
BEND_TURNS = 0.15
STRIP_AMOUNT = 28
NO_PART = 0.005  # of a turn: smaller than the smallest part that is ever told
SHORTEST_ARROW_DEG = 30.0  # room for its head


def bar_fraction(turns: float) -> float:
    """Length of the bar, -1..1: linear for the last eighth, logarithmic beyond, full at ten turns."""
    x = asinh(turns / BEND_TURNS) / asinh(FULL_BAR_TURNS / BEND_TURNS)
    return max(-1.0, min(1.0, x))


class StripWidget(Panel):
    """One screw. Lies flat for the azimuth screw and stands for the altitude screw."""

    def __init__(self, screw: Screw, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.strip = ScrewStrip(screw)
        self.southern = False
        self.marks = 1.0

    def show_strip(self, strip: ScrewStrip, southern: bool, marks: float = 1.0) -> None:
        """Show another state; in the south the azimuth bar is mirrored like the well above it."""
        self.strip, self.southern, self.marks = strip, southern, marks
        self.setAccessibleName(
            f"{strip.screw.value} screw: {strip.amount_text or 'nothing to turn'} {strip.sense_text}"
        )
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.strip.screw is Screw.AZIMUTH:
            self._draw_flat(painter, box)
        else:
            self._draw_standing(painter, box)

    def _px(self, size: float) -> float:
        return self.look.px(size) * self.marks

    def _ink(self) -> QColor:
        if self.strip.stop:
            return self.look.colour("ink")
        return self.look.colour("accent" if self.strip.active else "shade")

    def _draw_flat(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        margin = look.px(26)
        track = QRectF(box.left() + margin, box.top() + look.px(6), box.width() - 2 * margin, self._px(16))
        toward = bar_fraction(self.strip.signed_turns) * (-1.0 if self.southern else 1.0)
        _draw_track(painter, self._px(1), look, track, toward, self._ink(), self.strip, flat=True)
        top = track.bottom() + self._px(6)
        side = box.bottom() - top - self._px(4)
        lines = self._lines()
        gap = self._px(16)
        words_w = max(_advance(self._line_font(*line), line[0]) for line in lines) + 4
        name_w = _advance(self._line_font(*lines[0]), lines[0][0]) + gap
        note_w = _advance(look.font(SMALL), self._note()) + 4 if self._note() else 0.0
        words_w = min(words_w, box.width() - side - gap)
        x = max(box.left(), box.center().x() - (side + gap + max(words_w, name_w + note_w)) / 2)
        self._draw_dial(painter, QRectF(x, top, side, side))
        row = self._draw_words(painter, QRectF(x + side + gap, top, words_w, side), LEFT)
        note = QRectF(row.left() + name_w, row.top(), box.right() - row.left() - name_w, row.height())
        draw_fitted(painter, self._note(), note, look.px(SMALL), look.colour("faint"), flags=LEFT)

    def _draw_standing(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        margin = look.px(26)
        track = QRectF(box.left() + look.px(6), box.top() + margin, self._px(16), box.height() - 2 * margin)
        toward = bar_fraction(self.strip.signed_turns)
        _draw_track(painter, self._px(1), look, track, toward, self._ink(), self.strip, flat=False)
        left = track.right() + self._px(4)
        width = box.right() - left
        side = min(self._px(86), width)
        y = box.center().y() - self._px(92)
        self._draw_dial(painter, QRectF(left + (width - side) / 2, y, side, side))
        words = QRectF(left, y + side + self._px(4), width, self._px(92))
        self._draw_words(painter, words, CENTRE)
        note = QRectF(left, words.bottom(), width, look.px(46))
        two_lines = self._note().replace(", ", ",\n")
        draw_fitted(painter, two_lines, note, look.px(SMALL), look.colour("faint"), flags=TOP_CENTRE | WRAP)

    def _note(self) -> str:
        """What is known of the screw; not for the glance from two metres."""
        return self.strip.note_text if self.marks == 1.0 else ""

    def _lines(self) -> list[tuple[str, float, QFont.Weight, bool]]:
        """(text, size, weight, loud) of the words beside the dial."""
        strip = self.strip
        lines: list[tuple[str, float, QFont.Weight, bool]] = [(strip.screw.value, BODY, QFont.Weight.Normal, False)]
        if strip.stop:
            lines.append(("stop", STRIP_AMOUNT, QFont.Weight.DemiBold, True))
        elif strip.turns is None:
            lines.append(("turns unknown", SMALL, QFont.Weight.Normal, False))
        else:
            lines.append((strip.amount_text, STRIP_AMOUNT, QFont.Weight.DemiBold, True))
            lines.append((strip.sense_text, BODY, QFont.Weight.DemiBold, False))
        return lines

    def _line_font(self, _text: str, size: float, weight: QFont.Weight, _loud: bool) -> QFont:
        return self.look.font(size * self.marks, weight)

    def _draw_words(self, painter: QPainter, box: QRectF, align: int) -> QRectF:
        """The lines in the middle of the box; gives back the row of the first."""
        look, strip = self.look, self.strip
        lit = strip.active or strip.stop
        lines = self._lines()
        heights = [self._px(size) * 1.2 for _, size, _, _ in lines]
        y = box.top() + max(0.0, (box.height() - sum(heights)) / 2)
        first = QRectF(box.left(), y, box.width(), heights[0])
        for (text, size, weight, loud), high in zip(lines, heights):
            colour = look.colour(("strong" if loud else "ink") if lit else "faint")
            row = QRectF(box.left(), y, box.width(), high + 2)
            draw_fitted(painter, text, row, self._px(size), colour, weight, align)
            y += high
        return first

    def _draw_dial(self, painter: QPainter, box: QRectF) -> None:
        """The screw head as the hand sees it, with eighths marked and the turn as an arc from the top."""
        look, strip = self.look, self.strip
        centre, radius = box.center(), box.width() / 2 - look.px(3)
        ink = self._ink()
        quiet = look.colour("shade" if strip.active or strip.stop else "line")
        painter.setPen(QPen(quiet, look.px(1.4)))
        painter.drawEllipse(centre, radius, radius)
        for i in range(8):
            inner = radius - box.width() * (0.04 if i % 2 else 0.07)
            painter.drawLine(on_circle(centre, inner, i * 45), on_circle(centre, radius, i * 45))
        if strip.stop:
            draw_open_hand(painter, centre, radius * 0.62, ink)
            return
        if strip.turns is None or strip.sense is None or strip.turns == 0.0:
            return
        whole, part = int(strip.turns + 1e-9), (strip.turns + 1e-9) % 1.0
        sweep = dial_sweep_deg(strip.turns)
        sign = 1.0 if strip.sense is Sense.CLOCKWISE else -1.0
        self._draw_wedge(painter, centre, radius, sign * sweep, ink)
        pen = QPen(ink, box.width() * (0.085 if strip.active else 0.05))
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        head = box.width() * (0.19 if strip.active else 0.16)
        draw_turn_arrow(painter, centre, radius - box.width() * 0.1, sign * arrow_deg(sweep), pen, head)
        if whole >= 1 and part > NO_PART:
            self._draw_whole(painter, centre, radius, f"+{whole}", ink)
        elif whole > 1:
            self._draw_whole(painter, centre, radius, f"×{whole}", ink)

    def _draw_wedge(self, painter: QPainter, centre: QPointF, radius: float, sweep_deg: float, ink: QColor) -> None:
        """The turned part as a quiet wedge, so that an eighth is still seen from afar."""
        inner = radius * 0.93
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.look.colour("floor"))
        box = QRectF(centre.x() - inner, centre.y() - inner, 2 * inner, 2 * inner)
        painter.drawPie(box, 90 * 16, round(-sweep_deg * 16))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(ink, max(1.0, radius * 0.05)))
        painter.drawLine(centre, on_circle(centre, inner, 0.0))
        painter.drawLine(centre, on_circle(centre, inner, sweep_deg))

    def _draw_whole(self, painter: QPainter, centre: QPointF, radius: float, text: str, ink: QColor) -> None:
        patch = radius * 0.5
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.look.colour("ground"))
        painter.drawEllipse(centre, patch, patch)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setFont(self.look.font(radius * 0.62 / self.look.unit, QFont.Weight.Bold))
        painter.setPen(ink if self.strip.active else self.look.colour("faint"))
        draw_text(painter, QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius), CENTRE, text)


def _advance(font: QFont, text: str) -> float:
    return QFontMetricsF(font).horizontalAdvance(text)


def dial_sweep_deg(turns: float) -> float:
    """How far the wedge reaches for so many turns (positive): the part beyond whole turns, a full one for none.

    True to the angle, so that nobody turns five times too far; only two lines too close to tell apart are kept apart,
    and the two ends of a full turn.
    """
    whole, part = divmod(turns + 1e-9, 1.0)
    share = 1.0 if whole >= 1.0 and part <= NO_PART else part
    return max(3.0, min(338.0, 360.0 * share))


def arrow_deg(sweep_deg: float) -> float:
    """Where the tip of the arrow lies: at the end of the wedge; of a short one beyond it, on the side of the turn."""
    return max(sweep_deg, SHORTEST_ARROW_DEG)


def _draw_track(
    painter: QPainter, px: float, look: Look, track: QRectF, toward: float, ink: QColor, strip: ScrewStrip, flat: bool
) -> None:
    """The scale with its zero in the middle, marks at 1/8, 1 and 5 turns, and the bar toward zero."""

    def at(fraction: float) -> QPointF:
        if flat:
            return QPointF(track.center().x() + fraction * track.width() / 2, track.center().y())
        return QPointF(track.center().x(), track.center().y() - fraction * track.height() / 2)

    across = QPointF(0, track.height() / 2) if flat else QPointF(track.width() / 2, 0)
    painter.setPen(look.pen("line", 1.4))
    painter.drawLine(at(-1), at(1))
    for turns in (0.125, 0.5, 1.0, 2.0, 5.0, 10.0):
        for sign in (-1, 1):
            p = at(sign * bar_fraction(turns))
            reach = across * (0.75 if turns in (1.0, 10.0) else 0.4)
            painter.drawLine(p - reach, p + reach)
    if strip.turns is not None and not strip.stop and abs(toward) > 0.002:
        pen = QPen(ink, px * (9 if strip.active else 5))
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        painter.setPen(pen)
        painter.drawLine(at(0), at(toward))
    painter.setPen(QPen(look.colour("strong" if strip.active or strip.stop else "shade"), px * 3))
    painter.drawLine(at(0) - across * 1.25, at(0) + across * 1.25)
