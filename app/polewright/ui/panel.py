"""The base of every painted widget: it wears a look and repaints when the look changes."""

from __future__ import annotations

from PySide6.QtCore import QRectF
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from polewright.ui.look import Look
from polewright.ui.theme import Light, make_theme


class Panel(QWidget):
    """A widget that paints itself wholly from its look. Subclasses implement `draw`."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = Look(make_theme(Light.DAY))

    def set_look(self, look: Look) -> None:
        """Wear another theme or size."""
        self.look = look
        self.look_changed()
        self.update()

    def look_changed(self) -> None:
        """For subclasses that keep something made from the look."""

    def draw(self, painter: QPainter, box: QRectF) -> None:
        """Paint the content; the ground is already there."""
        raise NotImplementedError

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
        painter.fillRect(self.rect(), self.look.colour("ground"))
        self.draw(painter, QRectF(self.rect()))
        painter.end()
