"""The stage rail along the top: where the night is, what each stage brought, and the way into the menu."""

from __future__ import annotations

from typing import assert_never

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import LEFT, RIGHT, draw_text
from polewright.ui.look import BODY, SMALL
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Step, StepMark


class StageRail(Panel):
    """A line with a station for each stage: filled when done, a star where the night is, open ahead."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.steps: tuple[Step, ...] = ()
        self.title = ""
        self.reserved_right = 0.0  # room for the menu button

    def show_steps(self, steps: tuple[Step, ...], title: str) -> None:
        """Show another state."""
        self.steps, self.title = steps, title
        now = next((s.name for s in steps if s.mark is StepMark.NOW), "")
        self.setAccessibleName(f"stage: {now}")
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        x, y = box.left() + look.px(26), box.center().y()
        metrics = {mark: QFontMetricsF(self._font(mark)) for mark in StepMark}
        gap, dot = look.px(30), look.px(7)
        for i, step in enumerate(self.steps):
            if i:
                painter.setPen(QPen(look.colour("shade"), look.px(1.6)))
                painter.drawLine(QPointF(x - gap + look.px(4), y), QPointF(x - look.px(4), y))
            self._draw_station(painter, QPointF(x + dot, y), dot, step.mark)
            x += 2 * dot + look.px(9)
            text = f"{step.name} {step.note}" if step.note else step.name
            width = metrics[step.mark].horizontalAdvance(text) + 2
            painter.setFont(self._font(step.mark))
            painter.setPen(look.colour(_role(step.mark)))
            draw_text(painter, QRectF(x, box.top(), width, box.height()), LEFT, text)
            x += width + gap + look.px(10)
        self._draw_title(painter, box, x)

    def _font(self, mark: StepMark) -> QFont:
        return self.look.font(BODY, QFont.Weight.DemiBold if mark is StepMark.NOW else QFont.Weight.Normal)

    def _draw_title(self, painter: QPainter, box: QRectF, left: float) -> None:
        right = box.right() - self.reserved_right - self.look.px(14)
        font = self.look.font(SMALL)
        if not self.title or right - left < self.look.px(120):
            return
        text = QFontMetricsF(font).elidedText(self.title, Qt.TextElideMode.ElideRight, right - left)
        painter.setFont(font)
        painter.setPen(self.look.colour("faint"))
        draw_text(painter, QRectF(left, box.top(), right - left, box.height()), RIGHT, text)

    def _draw_station(self, painter: QPainter, at: QPointF, dot: float, mark: StepMark) -> None:
        look = self.look
        painter.setPen(look.pen("faint" if mark is StepMark.AHEAD else "strong", 2.0))
        painter.setBrush(look.colour("ground"))
        if mark is StepMark.DONE:
            painter.setBrush(look.colour("ink"))
            painter.drawEllipse(at, dot * 0.7, dot * 0.7)
        elif mark is StepMark.NOW:
            painter.drawEllipse(at, dot * 1.25, dot * 1.25)
            painter.setBrush(look.colour("strong"))
            painter.drawEllipse(at, dot * 0.55, dot * 0.55)
        else:
            painter.drawEllipse(at, dot * 0.7, dot * 0.7)
        painter.setBrush(Qt.BrushStyle.NoBrush)


def _role(mark: StepMark) -> Role:
    match mark:
        case StepMark.DONE:
            return "ink"
        case StepMark.NOW:
            return "strong"
        case StepMark.AHEAD:
            return "faint"
        case _:
            assert_never(mark)
