"""The page of keys: everything the keyboard does here, in two columns, large enough for red light. C: credits."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent, QMouseEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.ui.buttons import key_text
from polewright.ui.credits_page import CreditsPage
from polewright.ui.drawing import LEFT, RIGHT, draw_fitted
from polewright.ui.keys import CREDITS, WHY
from polewright.ui.look import BIG, VALUE, Look
from polewright.ui.panel import Panel


class KeysPage(Panel):
    """Lies over the window; any key or click leaves it, but for the key of the credits."""

    left = Signal()
    guide_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.pairs: tuple[tuple[str, str], ...] = ()
        self.credits = CreditsPage(self)
        self.credits.hide()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def set_look(self, look: Look) -> None:
        super().set_look(look)
        self.credits.set_look(look)

    def show_keys(self, pairs: tuple[tuple[str, str], ...]) -> None:
        """Show these keys."""
        pairs = tuple(pair for pair in pairs if pair[0] != WHY)
        self.pairs = (*pairs, (WHY, "the guide"), (CREDITS, "licences and credits, from this page"))
        pairs = self.pairs
        self.credits.hide()
        self.setAccessibleDescription("; ".join(f"{key}: {meaning}" for key, meaning in pairs))
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        px = look.px
        title = QRectF(px(60), px(30), box.width() - px(120), px(50))
        draw_fitted(painter, "Keys", title, px(BIG * 1.2), look.colour("strong"), QFont.Weight.DemiBold, LEFT)
        draw_fitted(painter, "any key goes back", title, px(VALUE), look.colour("faint"), flags=RIGHT)
        rows = (len(self.pairs) + 1) // 2
        if not rows:
            return
        high = min(px(44), (box.height() - px(120)) / rows)
        column = (box.width() - px(120)) / 2
        for i, (key, meaning) in enumerate(self.pairs):
            x = px(60) + (i // rows) * column
            y = px(96) + (i % rows) * high
            left = QRectF(x, y, px(150), high)
            right = QRectF(x + px(166), y, column - px(180), high)
            draw_fitted(painter, key_text(key), left, px(VALUE), look.colour("strong"), QFont.Weight.DemiBold, LEFT)
            draw_fitted(painter, meaning, right, px(VALUE), look.colour("ink"), flags=LEFT)

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.credits.resize(event.size())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        event.accept()
        if event.text().upper() == CREDITS and self.credits.isHidden():
            self.credits.show()
        elif event.text() == WHY:
            self.guide_wanted.emit()
        else:
            self._go_back()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._go_back()

    def _go_back(self) -> None:
        """From the credits to the keys, from the keys to where they were asked for."""
        if self.credits.isHidden():
            self.left.emit()
        else:
            self.credits.hide()
