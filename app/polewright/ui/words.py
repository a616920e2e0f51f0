"""The instruction: one large sentence, why, and what it will bring."""

from __future__ import annotations

import re

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QWidget

from polewright.core.night.advice import Mood
from polewright.ui.buttons import key_text
from polewright.ui.drawing import LEFT_TOP, WRAP, draw_fitted, fitted_font
from polewright.ui.glance import Glance
from polewright.ui.look import BODY, READING, SENTENCE
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Instruction

NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:\d/\d|turns?\b|s\b|px\b|min\b|mm\b|minutes\b|moves\b))")
NOTHING_BESIDE = Glance()
BESIDE_SHARE = 1 / 22  # of the height: half as large as the sentence at the least (chosen)
MOOD_WORDS = {Mood.DO: "Now", Mood.WAIT: "Wait", Mood.GOOD: "Reached", Mood.TROUBLE: "Needs you"}


class Words(Panel):
    """Draws an `Instruction` as large as its box allows; in the reading mode the short form, much larger."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.instruction = Instruction("")
        self.reading = False
        self.glance = Glance()

    def show_instruction(self, instruction: Instruction, reading: bool, beside: Glance = NOTHING_BESIDE) -> None:
        """Show another sentence; `beside` is for the reading mode."""
        self.instruction, self.reading, self.glance = instruction, reading, beside
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
        below = [kept_together(t) for t in (said.caution, said.reason, said.gain) if t]
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
        lines: tuple[tuple[str, Role], ...] = ((said.caution, "accent"), (said.reason, "ink"), (said.gain, "faint"))
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
        """The sentence as large as it goes; below it how far off, the one warning, and the key."""
        look = self.look
        top = self._draw_tone(painter, QRectF(box.left(), box.top() + look.px(6), box.width(), look.px(26)))
        lines, beside_px = self._beside(), box.height() * BESIDE_SHARE
        heights = [self._beside_height(text, role, box.width(), beside_px) for text, role in lines]
        below = sum(heights) + look.px(10) * len(heights)
        room = QRectF(box.left(), top + look.px(8), box.width(), box.bottom() - top - look.px(12) - below)
        said = kept_together(self.instruction.short or self.instruction.sentence)
        draw_fitted(painter, said, room, look.px(READING), look.colour("strong"), QFont.Weight.DemiBold)
        y = box.bottom() - below
        for (text, role), high in zip(lines, heights):
            row = QRectF(box.left(), y + look.px(10), box.width(), high + 1)
            draw_fitted(painter, text, row, beside_px, look.colour(role), _weight(role))
            y = row.bottom()

    def _beside(self) -> list[tuple[str, Role]]:
        """What is said beside the sentence, from above."""
        told = self.glance
        key = f"{key_text(told.key)}: {told.key_does}" if told.key else ""
        lines: tuple[tuple[str, Role], ...] = ((told.total, "strong"), (told.warning, "accent"), (key, "ink"))
        return [(kept_together(text), role) for text, role in lines if text]

    def _beside_height(self, text: str, role: Role, width: float, size_px: float) -> float:
        box = QRectF(0, 0, width, size_px * 2.7)  # two lines at most: smaller letters rather than more
        return fitted_font(text, box, size_px, _weight(role), LEFT_TOP | WRAP)[1].height()


def _weight(role: Role) -> QFont.Weight:
    return QFont.Weight.Normal if role == "ink" else QFont.Weight.DemiBold


def kept_together(text: str) -> str:
    """No line ends between a number and its unit ("8 s", "3 1/4 turns")."""
    return NUMBER_AND_UNIT.sub("\u00a0", text)
