"""Licences and credits: whose data and libraries the program stands on, in two columns below the page of keys."""

from __future__ import annotations

from functools import cache

from PySide6.QtCore import QRectF
from PySide6.QtGui import QFont, QPainter

from polewright.services.credits import read_credits
from polewright.ui.drawing import LEFT, LEFT_TOP, RIGHT, WRAP, draw_fitted
from polewright.ui.look import BIG, SMALL, VALUE
from polewright.ui.panel import Panel
from polewright.words.credits import PRINTED, acknowledgement, credit_rows


class CreditsPage(Panel):
    """Fills the page of keys while it is shown, and takes no keys or clicks of its own."""

    def draw(self, painter: QPainter, box: QRectF) -> None:
        px = self.look.px
        rows, thanks = shown()
        title = QRectF(px(60), px(20), box.width() - px(120), px(44))
        strong, faint = self.look.colour("strong"), self.look.colour("faint")
        draw_fitted(painter, "Licences and credits", title, px(BIG * 1.2), strong, QFont.Weight.DemiBold, LEFT)
        draw_fitted(painter, "any key goes back", title, px(VALUE), faint, flags=RIGHT)
        foot = QRectF(px(60), box.height() - px(88), box.width() - px(120), px(84))
        draw_fitted(painter, f"{thanks} {PRINTED}", foot, px(SMALL), faint, flags=LEFT_TOP | WRAP)
        self._draw_rows(painter, QRectF(px(60), px(68), box.width() - px(120), foot.top() - px(72)), rows)

    def _draw_rows(self, painter: QPainter, box: QRectF, rows: tuple[tuple[str, str], ...]) -> None:
        px = self.look.px
        lines = (len(rows) + 1) // 2
        high, column = box.height() / lines, box.width() / 2
        for i, (name, licence) in enumerate(rows):
            x, y = box.left() + (i // lines) * column, box.top() + (i % lines) * high
            left, right = QRectF(x, y, column * 0.36, high), QRectF(x + column * 0.38, y, column * 0.6, high)
            draw_fitted(
                painter, name, left, px(SMALL), self.look.colour("strong"), QFont.Weight.DemiBold, LEFT | WRAP
            )
            draw_fitted(painter, licence, right, px(SMALL), self.look.colour("ink"), flags=LEFT | WRAP)


@cache
def shown() -> tuple[tuple[tuple[str, str], ...], str]:
    """The rows and the thanks; what is installed does not change while the program runs."""
    credits = read_credits()
    return credit_rows(credits), acknowledgement(credits)
