"""The list of well-known targets as a field of large buttons, for keys, gloves and the pointer."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent, QPainter
from PySide6.QtWidgets import QGridLayout, QWidget

from polewright.core.plan.sky_objects import SKY_OBJECTS
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import CENTRE, RIGHT, WRAP, draw_fitted
from polewright.ui.look import BIG, SMALL, VALUE
from polewright.ui.panel import Caption, Panel
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
        inner = box.adjusted(look.px(6), look.px(2), -look.px(6), -look.px(2))
        name = QRectF(inner.left(), inner.top(), inner.width(), inner.height() * 0.42)
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
        title, said = Caption(BIG, "strong", bold=True), Caption(SMALL, "faint", RIGHT)
        title.show_text("Targets")
        said.show_text("dimmed: never 10° high here; Escape goes back")
        self._grid = QGridLayout(self)
        self._grid.addWidget(title, 0, 0, 1, COLUMNS // 2)
        self._grid.addWidget(said, 0, COLUMNS // 2, 1, COLUMNS // 2)
        for number, button in enumerate(self.buttons):
            button.clicked.connect(self._on_clicked)
            button.fill()
            self._grid.addWidget(button, 1 + number // COLUMNS, number % COLUMNS)
            self._grid.setRowStretch(1 + number // COLUMNS, 1)
        for column in range(COLUMNS):
            self._grid.setColumnStretch(column, 1)

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

    def look_changed(self) -> None:
        px = self.look.px
        self._grid.setContentsMargins(round(px(28)), round(px(10)), round(px(28)), round(px(20)))
        self._grid.setSpacing(round(px(8)))
        self._grid.setRowMinimumHeight(0, round(px(46)))
