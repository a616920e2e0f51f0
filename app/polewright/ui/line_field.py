"""A line to type in with a caret of our colour: Qt draws its own by inverting what lies beneath, white on black."""

from __future__ import annotations

from PySide6.QtCore import QRect
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLineEdit, QProxyStyle, QStyle, QStyleOption, QWidget

from polewright.ui.look import BODY, Look
from polewright.ui.theme import Light, make_theme


class CaretlessStyle(QProxyStyle):
    """The current style with a caret of no width."""

    def pixelMetric(
        self, metric: QStyle.PixelMetric, option: QStyleOption | None = None, widget: QWidget | None = None
    ) -> int:
        if metric == QStyle.PixelMetric.PM_TextCursorWidth:
            return 0
        return super().pixelMetric(metric, option, widget)


class LineField(QLineEdit):
    """A QLineEdit with a steady caret in the theme's own colour."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = Look(make_theme(Light.DAY))
        self._style: CaretlessStyle | None = None

    def set_look(self, look: Look, size: float = BODY) -> None:
        """Wear another theme or size. The style comes first here: set earlier, the style sheet would not reach it."""
        if self._style is None:
            self._style = CaretlessStyle()
            self.setStyle(self._style)
        self.look = look
        self.setFont(look.font(size))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if self.hasFocus() and not self.isReadOnly():
            middle = self.cursorRect().center()
            high = self.fontMetrics().height()
            painter = QPainter(self)
            wide = max(2, round(self.look.px(2)))
            painter.fillRect(QRect(middle.x(), middle.y() - high // 2, wide, high), self.look.colour("strong"))
            painter.end()
