"""Lines of numbers: a label, the number, and what it means in words."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFont, QFontMetricsF, QPainter
from PySide6.QtWidgets import QWidget

from polewright.core.night.advice import Mood
from polewright.ui.drawing import LEFT, WRAP, draw_fitted
from polewright.ui.look import BODY, VALUE
from polewright.ui.panel import Panel
from polewright.ui.view_model import Fact


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
