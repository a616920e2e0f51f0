"""Once the mount is aligned, in the place of the screw strips: how it stands since, beside a small open hand."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QFont, QPainter
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import CENTRE, WRAP, draw_fitted, draw_open_hand
from polewright.ui.look import BODY, SMALL, VALUE
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Fact
from polewright.ui.words import kept_together

HAND_PX = 15.0


class AfterPanel(Panel):
    """Three short facts side by side; `marks` makes them larger for reading from two metres."""

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
