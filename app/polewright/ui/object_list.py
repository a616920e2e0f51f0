"""The list of well-known targets as a field of large buttons, for keys, gloves and the pointer."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.core.plan.sky_objects import SKY_OBJECTS
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import CENTRE, LEFT, RIGHT, WRAP, draw_fitted
from polewright.ui.look import BIG, SMALL, VALUE, Look
from polewright.ui.panel import Panel
from polewright.ui.theme import Role

COLUMNS = 6
STEPS = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1, Qt.Key.Key_Up: -COLUMNS, Qt.Key.Key_Down: COLUMNS}


class ObjectButton(PlainButton):
    """Name, declination, and what it is."""

    def __init__(self, name: str, parent: QWidget) -> None:
        super().__init__(name, parent=parent)
        kind, place = SKY_OBJECTS[name]
        self.note = f"{kind}, {place.dec_deg:+.0f}°".replace("-", "−")
        self.setAccessibleDescription(self.note)

    def _draw_text(self, painter: QPainter, box: QRectF, ink: Role) -> None:
        look = self.look
        inner = box.adjusted(look.px(6), look.px(4), -look.px(6), -look.px(4))
        name = QRectF(inner.left(), inner.top(), inner.width(), inner.height() * 0.44)
        note = QRectF(inner.left(), name.bottom(), inner.width(), inner.bottom() - name.bottom())
        draw_fitted(painter, self.text(), name, look.px(VALUE), look.colour(ink), QFont.Weight.DemiBold, CENTRE)
        draw_fitted(painter, self.note, note, look.px(SMALL), look.colour(ink), flags=CENTRE | WRAP)


class ObjectList(Panel):
    """Lies over the page of the plan. `chosen` carries a name; `left` nothing."""

    chosen = Signal(str)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.buttons = [ObjectButton(name, self) for name in SKY_OBJECTS]
        for button in self.buttons:
            button.clicked.connect(self._on_clicked)

    def show_objects(self, too_low: tuple[str, ...], now: str) -> None:
        """Let one be chosen; those that never stand high enough here are dimmed."""
        for button in self.buttons:
            button.setEnabled(button.text() not in too_low)
        here = next((b for b in self.buttons if b.text() == now and b.isEnabled()), None)
        first = here or next((b for b in self.buttons if b.isEnabled()), None)
        self.show()
        self.raise_()
        if first is not None:
            first.setFocus(Qt.FocusReason.TabFocusReason)

    def _on_clicked(self) -> None:
        button = self.sender()
        if isinstance(button, ObjectButton):
            self.chosen.emit(button.text())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Arrows go from one to the next that can be chosen; Escape leaves."""
        event.accept()
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        step = STEPS.get(Qt.Key(event.key()))
        at = next((i for i, b in enumerate(self.buttons) if b.hasFocus()), None)
        if step is None or at is None:
            return
        at += step
        while 0 <= at < len(self.buttons):
            if self.buttons[at].isEnabled():
                self.buttons[at].setFocus(Qt.FocusReason.TabFocusReason)
                return
            at += step

    def set_look(self, look: Look) -> None:
        super().set_look(look)
        for button in self.buttons:
            button.set_look(look)
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:
        self._place()

    def _place(self) -> None:
        px = self.look.px
        rows = -(-len(self.buttons) // COLUMNS)
        gap, top = px(8), px(64)
        wide = (self.width() - px(56) - gap * (COLUMNS - 1)) / COLUMNS
        high = (self.height() - top - px(20) - gap * (rows - 1)) / rows
        for i, button in enumerate(self.buttons):
            x, y = px(28) + (i % COLUMNS) * (wide + gap), top + (i // COLUMNS) * (high + gap)
            button.setGeometry(round(x), round(y), round(wide), round(high))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        line = QRectF(look.px(28), look.px(10), box.width() - look.px(56), look.px(48))
        half = QRectF(line.left(), line.top(), line.width() / 2, line.height())
        right = QRectF(half.right(), line.top(), line.width() / 2, line.height())
        draw_fitted(painter, "Targets", half, look.px(BIG), look.colour("strong"), QFont.Weight.DemiBold, LEFT)
        said = "dimmed: never 10° high here; Escape goes back"
        draw_fitted(painter, said, right, look.px(SMALL), look.colour("faint"), flags=RIGHT)
