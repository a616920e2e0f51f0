"""Numbers with a label and what they mean in words: in lines, or a few side by side once the mount is aligned."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFont, QFontMetricsF, QPainter
from PySide6.QtWidgets import QWidget

from polewright.core.night.advice import Mood
from polewright.ui.drawing import CENTRE, LEFT, WRAP, draw_fitted, draw_open_hand
from polewright.ui.look import BODY, SMALL, VALUE
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Fact
from polewright.ui.words import kept_together

HAND_PX = 15.0


class FactsPanel(Panel):
    """A table without boxes: hairlines between the rows, figures under figures."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.facts: tuple[Fact, ...] = ()

    def show_facts(self, facts: tuple[Fact, ...]) -> None:
        """Show other numbers."""
        self.facts = facts
        self.setAccessibleDescription("; ".join(f"{f.label} {f.value} {f.words}" for f in facts))
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if not self.facts:
            return
        look = self.look
        high = box.height() / len(self.facts)
        label_w, value_w = self._columns(box.width())
        for i, fact in enumerate(self.facts):
            y = box.top() + i * high
            painter.setPen(look.pen("line", 1.0))
            painter.drawLine(QPointF(box.left(), y), QPointF(box.right(), y))
            label = QRectF(box.left(), y, label_w - look.px(6), high)
            value = QRectF(box.left() + label_w, y, value_w - look.px(8), high)
            words = QRectF(box.left() + label_w + value_w, y, box.width() - label_w - value_w, high)
            draw_fitted(painter, fact.label, label, look.px(BODY), look.colour("faint"), flags=LEFT)
            draw_fitted(
                painter, fact.value, value, look.px(VALUE), look.colour("strong"), QFont.Weight.DemiBold, LEFT
            )
            loud = fact.verdict in (Mood.TROUBLE, Mood.DO)
            weight = QFont.Weight.DemiBold if loud else QFont.Weight.Normal
            draw_fitted(painter, fact.words, words, look.px(BODY), look.colour("ink"), weight, LEFT | WRAP)

    def _columns(self, room: float) -> tuple[float, float]:
        """Widths of label and value: what they need, but never more than 30 % of the room each."""
        plain = QFontMetricsF(self.look.font(BODY))
        strong = QFontMetricsF(self.look.font(VALUE, QFont.Weight.DemiBold))
        gap = self.look.px(20)
        label = max(plain.horizontalAdvance(f.label) for f in self.facts) + gap
        value = max(strong.horizontalAdvance(f.value) for f in self.facts) + gap
        return min(label, room * 0.3), min(value, room * 0.3)


class AfterPanel(Panel):
    """How it stands since it was aligned, in the place of the screw strips: short facts side by side, an open hand
    before them; `marks` makes them larger for reading from two metres."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.facts: tuple[Fact, ...] = ()
        self.marks = 1.0

    def show_facts(self, facts: tuple[Fact, ...], marks: float) -> None:
        """Show other facts."""
        self.facts, self.marks = facts, marks
        self.setAccessibleName("; ".join(f"{f.label} {f.value} {f.words}" for f in facts))
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        hand = self.look.px(HAND_PX) * self.marks
        draw_open_hand(painter, QPointF(box.left() + 1.6 * hand, box.center().y()), hand, self.look.colour("ink"))
        left = box.left() + 3.4 * hand
        wide, gap = (box.right() - left) / max(1, len(self.facts)), self.look.px(8)
        for number, fact in enumerate(self.facts):
            self._draw_fact(painter, QRectF(left + number * wide, box.top(), wide - gap, box.height()), fact)

    def _draw_fact(self, painter: QPainter, box: QRectF, fact: Fact) -> None:
        lines: tuple[tuple[str, float, Role, float], ...] = (
            (fact.label, BODY, "faint", 0.24),
            (fact.value, VALUE, "strong", 0.33),
            (fact.words, SMALL, "ink", 0.42),
        )
        y = box.top()
        for text, size, role, share in lines:
            row = QRectF(box.left(), y, box.width(), box.height() * share)
            bold = QFont.Weight.DemiBold if role == "strong" else QFont.Weight.Normal
            size_px, colour = self.look.px(size) * self.marks, self.look.colour(role)
            draw_fitted(painter, kept_together(text), row, size_px, colour, bold, CENTRE | WRAP)
            y = row.bottom()
