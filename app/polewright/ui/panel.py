"""The base of every painted widget: it wears a look, hands it to its parts, and repaints when the look changes."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from PySide6.QtCore import QRectF
from PySide6.QtGui import QFont, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from polewright.ui.arrange import unit_for
from polewright.ui.drawing import LEFT, draw_fitted
from polewright.ui.look import BODY, Look
from polewright.ui.theme import Light, Role, make_theme


@runtime_checkable
class Wears(Protocol):
    """Whatever can wear a theme."""

    def set_look(self, look: Look) -> None: ...


class Panel(QWidget):
    """A widget that paints itself wholly from its look. Subclasses implement `draw`."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = Look(make_theme(Light.DAY))

    def set_look(self, look: Look) -> None:
        """Wear another theme or size, with all parts."""
        self.look = look
        for part in self.children():
            if isinstance(part, Wears):
                part.set_look(look)
        self.look_changed()
        if (layout := self.layout()) is not None:
            layout.activate()  # now, not with the next event: whoever paints next finds everything in its place
        self.update()

    def look_changed(self) -> None:
        """For subclasses that keep something made from the look, or the room between their parts."""

    def draw(self, painter: QPainter, box: QRectF) -> None:
        """Paint the content; the ground is already there. Nothing, for what only holds parts."""

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
        painter.fillRect(self.rect(), self.look.colour("ground"))
        self.draw(painter, QRectF(self.rect()))
        painter.end()


class FullPanel(Panel):
    """A panel that fills the window: the size of all things follows its own."""

    def set_look(self, look: Look) -> None:
        super().set_look(Look(look.theme, unit_for(self.width(), self.height())))

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.set_look(self.look)


class Caption(Panel):
    """A text that takes the room it is given and shrinks until it fits."""

    def __init__(self, size: float = BODY, role: Role = "ink", flags: int = LEFT, bold: bool = False) -> None:
        super().__init__()
        self.text = ""
        self.size_px, self.role, self.flags = size, role, flags
        self.weight = QFont.Weight.DemiBold if bold else QFont.Weight.Normal
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)

    def show_text(self, text: str, role: Role | None = None, bold: bool | None = None) -> None:
        """Say something else, perhaps louder."""
        self.text, self.role = text, role or self.role
        if bold is not None:
            self.weight = QFont.Weight.DemiBold if bold else QFont.Weight.Normal
        self.update()

    def draw(self, painter: QPainter, box: QRectF) -> None:
        size = self.look.px(self.size_px)
        draw_fitted(painter, self.text, box, size, self.look.colour(self.role), self.weight, self.flags)
