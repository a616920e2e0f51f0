"""The line at the bottom: which key does what, here and now."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.ui.buttons import PlainButton, key_text
from polewright.ui.drawing import LEFT, RIGHT, draw_fitted, draw_text
from polewright.ui.intents import CancelWork
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import Work


class KeysBar(Panel):
    """Pairs of key and meaning, as many as fit; the rest is on the page of keys.

    Emits `pressed` with an intent when the pointer stops the work: a mouse has no Escape.
    """

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.pairs: tuple[tuple[str, str], ...] = ()
        self.shown = 0
        self.work: Work | None = None
        self.stop = PlainButton("Stop", parent=self)
        self.stop.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.stop.setAccessibleName("Stop this work")
        self.stop.hide()
        self.stop.clicked.connect(self._on_stop)

    def show_work(self, work: Work | None) -> None:
        """Long work, never over the instruction: its name and how far it is, at the right."""
        if work != self.work:
            self.work = work
            self.stop.setVisible(work is not None and work.can_cancel)
            self.update()

    def _on_stop(self) -> None:
        self.pressed.emit(CancelWork())

    def look_changed(self) -> None:
        """The button at the right edge, as high as the line."""
        self.stop.setFixedSize(round(self.look.px(78)), max(1, self.height() - 6))
        self.stop.move(self.width() - self.stop.width() - round(self.look.px(14)), 4)

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.look_changed()

    def show_keys(self, pairs: tuple[tuple[str, str], ...]) -> None:
        """Show other keys, the most wanted first."""
        if pairs != self.pairs:
            self.pairs = pairs
            self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        painter.setPen(look.pen("line", 1.0))
        painter.drawLine(QPointF(box.left(), 0.5), QPointF(box.right(), 0.5))
        if self.work is not None:
            box = box.adjusted(0, 0, -self._draw_work(painter, box, self.work), 0)
        bold, plain = look.font(SMALL, QFont.Weight.Bold), look.font(SMALL)
        x, self.shown = box.left() + look.px(18), 0
        for key, meaning in self.pairs:
            key = key_text(key)
            key_w = QFontMetricsF(bold).horizontalAdvance(key) + 2
            meaning_w = QFontMetricsF(plain).horizontalAdvance(meaning) + 2
            if x + key_w + look.px(6) + meaning_w > box.right() - look.px(10):
                break
            painter.setFont(bold)
            painter.setPen(look.colour("ink"))
            draw_text(painter, QRectF(x, 0, key_w, box.height()), LEFT, key)
            painter.setFont(plain)
            painter.setPen(look.colour("faint"))
            draw_text(painter, QRectF(x + key_w + look.px(6), 0, meaning_w, box.height()), LEFT, meaning)
            x += key_w + meaning_w + look.px(28)
            self.shown += 1

    def _draw_work(self, painter: QPainter, box: QRectF, work: Work) -> float:
        """A line that grows along the upper edge, and words; the width that they take."""
        look, share = self.look, work.fraction or 0.0
        beside = 0.0 if self.stop.isHidden() else self.stop.width() + look.px(10)
        wide = min(look.px(400), 0.45 * box.width()) + beside
        part = QRectF(box.right() - wide, box.top(), wide - beside - look.px(14), box.height())
        painter.setPen(look.pen("ink", 3.0))
        if share > 0.0:
            painter.drawLine(QPointF(part.left(), 1.5), QPointF(part.left() + share * part.width(), 1.5))
        words = work.title if work.fraction is None else f"{work.title}: {100.0 * share:.0f} %"
        draw_fitted(painter, words, part, look.px(SMALL), look.colour("ink"), flags=RIGHT)
        return wide
