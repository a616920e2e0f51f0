"""The instruction: one large sentence, why, and what it will bring."""

from __future__ import annotations

import re

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.core.night.advice import Mood
from polewright.ui.drawing import LEFT_TOP, WRAP, draw_fitted, fitted_font
from polewright.ui.look import BODY, READING, SENTENCE
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Instruction

NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:\d/\d|turns?\b|s\b|px\b|min\b|mm\b|minutes\b|moves\b))")
MOOD_WORDS = {Mood.DO: "Now", Mood.WAIT: "Wait", Mood.GOOD: "Reached", Mood.TROUBLE: "Needs you"}


class Words(Panel):
    """Draws an `Instruction` as large as its box allows; in the reading mode the short form, much larger."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.instruction = Instruction("")
        self.reading = False

    def show_instruction(self, instruction: Instruction, reading: bool) -> None:
        """Show another sentence."""
        self.instruction, self.reading = instruction, reading
        self.setAccessibleName(instruction.sentence)
        self.setAccessibleDescription(instruction.reason)
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look, said = self.look, self.instruction
        if self.reading:
            self._draw_reading(painter, box)
            return
        y = box.top() + look.px(10)
        y = self._draw_tone(painter, QRectF(box.left(), y, box.width(), look.px(24))) + look.px(8)
        body = look.px(BODY)
        below = [kept_together(t) for t in (said.reason, said.gain) if t]
        reserve = sum(
            fitted_font(t, QRectF(0, 0, box.width(), 1e4), body, QFont.Weight.Normal, LEFT_TOP | WRAP)[1].height()
            + look.px(8)
            for t in below
        )
        room = QRectF(box.left(), y, box.width(), max(look.px(40), box.bottom() - y - reserve - look.px(4)))
        used = draw_fitted(
            painter,
            kept_together(said.sentence),
            room,
            look.px(SENTENCE),
            look.colour("strong"),
            QFont.Weight.DemiBold,
        )
        y = used.bottom() + look.px(10)
        lines: tuple[tuple[str, Role], ...] = ((said.reason, "ink"), (said.gain, "faint"))
        for text, role in lines:
            if text:
                part = QRectF(box.left(), y, box.width(), max(1.0, box.bottom() - y))
                y = draw_fitted(painter, kept_together(text), part, body, look.colour(role)).bottom() + look.px(6)

    def _draw_tone(self, painter: QPainter, box: QRectF) -> float:
        """A mark and a word for the kind of sentence: a solid wedge, an open ring, a full disc, a barred ring."""
        look, tone = self.look, self.instruction.tone
        accent = tone in (Mood.DO, Mood.TROUBLE)
        colour = look.colour("accent" if accent else "ink")
        side = look.px(15)
        mark = QRectF(box.left() + 1, box.center().y() - side / 2, side, side)
        painter.setPen(QPen(colour, look.px(2.2)))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if tone is Mood.DO:
            painter.setBrush(colour)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.drawPolygon(
                [mark.topLeft(), QRectF(mark).center() + (mark.topRight() - mark.topLeft()) / 2, mark.bottomLeft()]
            )
        elif tone is Mood.WAIT:
            fraction = self.instruction.wait_fraction
            painter.drawEllipse(mark)
            if fraction is not None:
                painter.setBrush(colour)
                painter.drawPie(mark, 90 * 16, -round(360 * 16 * min(1.0, max(0.0, fraction))))
        elif tone is Mood.GOOD:
            painter.setBrush(colour)
            painter.drawEllipse(mark)
        else:
            painter.drawEllipse(mark)
            painter.drawLine(mark.center(), QRectF(mark).center() - (mark.center() - mark.topLeft()) * 1.0)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        word = QRectF(mark.right() + look.px(9), box.top(), box.width() - side, box.height())
        draw_fitted(painter, MOOD_WORDS[tone], word, look.px(BODY), colour, QFont.Weight.DemiBold, 0x81)
        return box.bottom()

    def _draw_reading(self, painter: QPainter, box: QRectF) -> None:
        look, said = self.look, self.instruction
        text = kept_together(said.short or said.sentence)
        top = self._draw_tone(painter, QRectF(box.left(), box.top() + look.px(6), box.width(), look.px(26)))
        room = QRectF(box.left(), top + look.px(14), box.width(), box.bottom() - top - look.px(14))
        size = look.px(READING)
        used = fitted_font(text, room, size, QFont.Weight.DemiBold, LEFT_TOP | WRAP)[1].height()
        room.setTop(max(room.top(), box.center().y() - used * 0.62))
        draw_fitted(painter, text, room, size, look.colour("strong"), QFont.Weight.DemiBold)


def kept_together(text: str) -> str:
    """No line ends between a number and its unit ("8 s", "3 1/4 turns")."""
    return NUMBER_AND_UNIT.sub("\u00a0", text)
