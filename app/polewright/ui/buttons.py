"""Buttons for gloves: painted flat, their key written on them, a frame that shows the focus."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QEnterEvent,
    QFocusEvent,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QAbstractButton, QHBoxLayout, QSizePolicy, QWidget

from polewright.ui.drawing import CENTRE, LEFT, WRAP, draw_fitted, fitted_font
from polewright.ui.look import BODY, SMALL, VALUE, Look
from polewright.ui.panel import Panel
from polewright.ui.theme import Light, Role, make_theme
from polewright.ui.view_model import Action, Weight

KEY_NAMES = {
    "Return": "Enter", "Backspace": "Bksp", "Space": "Space", "Left": "←", "Right": "→", "Up": "↑", "Down": "↓",
}  # fmt: skip


def key_text(key: str) -> str:
    """A key as it is printed in the window."""
    return "+".join(KEY_NAMES.get(part, part) for part in key.split("+")) if key != "+" else key


class PlainButton(QAbstractButton):
    """A flat button. Loud ones are filled with the accent; all of them show their key."""

    def __init__(self, label: str, key: str = "", loud: bool = False, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.look = Look(make_theme(Light.DAY))
        self.key = key
        self.loud = loud
        self.large = loud
        self.ground: Role = "ground"  # the role of what lies behind it
        self.setText(label)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._over = False
        self.keyboard_focus = False

    def allow(self, why_not: str = "") -> None:
        """It can be pressed, or says why not."""
        self.setEnabled(not why_not)
        self.setToolTip(why_not)

    def fill(self) -> None:
        """Take all the height there is, not only what the label needs."""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)

    def focusInEvent(self, event: QFocusEvent) -> None:
        self.keyboard_focus = event.reason() in (Qt.FocusReason.TabFocusReason, Qt.FocusReason.BacktabFocusReason)
        super().focusInEvent(event)

    def set_look(self, look: Look) -> None:
        """Wear another theme or size."""
        self.look = look
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        font = self.look.font(VALUE if self.large else BODY, QFont.Weight.DemiBold)
        width = QFontMetricsF(font).horizontalAdvance(self.text()) + self.look.px(30)
        if self.key and not self.large:  # the key stands beside the label; on large buttons below it
            small = QFontMetricsF(self.look.font(SMALL))
            width += small.horizontalAdvance(key_text(self.key)) + self.look.px(12)
        return QSize(round(width), round(self.look.px(56 if self.large else 42)))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Space presses, and Enter where the keyboard has gone; everything else is the window's."""
        enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.modifiers()
        if event.key() == Qt.Key.Key_Space or (enter and self.keyboard_focus):
            self.click()
        else:
            event.ignore()

    def enterEvent(self, event: QEnterEvent) -> None:
        self._over = True
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        self._over = False
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        look = self.look
        painter = QPainter(self)
        painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
        painter.fillRect(self.rect(), look.colour(self.ground))
        box = QRectF(self.rect()).adjusted(2.5, 2.5, -2.5, -2.5)
        fill, ink, edge = self._colours()
        painter.setBrush(look.colour(fill))
        pen = look.pen(edge, 1.5)
        if not self.isEnabled():  # told by its frame: letters that are dimmed cannot be read
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.drawRoundedRect(box, look.px(8), look.px(8))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if self.hasFocus() and self.keyboard_focus:
            ring = box.adjusted(4, 4, -4, -4)
            painter.setPen(QPen(look.colour(ink), max(2.0, look.px(2.0)), Qt.PenStyle.DotLine))
            painter.drawRoundedRect(ring, look.px(6), look.px(6))
        self._draw_text(painter, box, ink)
        painter.end()

    def _colours(self) -> tuple[Role, Role, Role]:
        if not self.isEnabled():
            return "ground", "faint", "line"
        if self.isChecked():  # never a filled bright panel at night
            return ("hollow", "strong", "strong") if self.look.theme.red else ("ink", "ground", "ink")
        if self.loud and not self.look.theme.red:
            return ("ink" if self.isDown() else "accent"), "accent_ink", "accent"
        if self.loud:  # never a filled bright panel at night: a thick bright frame instead
            return ("hollow" if self._over or self.isDown() else "raised"), "strong", "strong"
        return ("hollow" if self._over or self.isDown() else "raised"), "ink", "shade"

    def _draw_text(self, painter: QPainter, box: QRectF, ink: Role) -> None:
        look = self.look
        colour = look.colour(ink)
        weight = QFont.Weight.DemiBold if self.large else QFont.Weight.Normal
        size = look.px(VALUE if self.large else BODY)
        inner = box.adjusted(look.px(8), 2, -look.px(8), -2)
        if not self.key:
            draw_fitted(painter, self.text(), inner, size, colour, weight, CENTRE | WRAP)
        elif self.large and box.height() > look.px(58):
            text = QRectF(inner.left(), inner.top() + look.px(4), inner.width(), inner.height() * 0.60)
            key = QRectF(inner.left(), text.bottom(), inner.width(), inner.bottom() - text.bottom() - look.px(4))
            draw_fitted(painter, self.text(), text, size, colour, weight, CENTRE | WRAP)
            draw_fitted(painter, key_text(self.key), key, look.px(SMALL), colour, flags=CENTRE)
        else:
            self._draw_pair(painter, inner, size, colour, weight)

    def _draw_pair(self, painter: QPainter, inner: QRectF, size: float, colour: QColor, weight: QFont.Weight) -> None:
        """Label and key side by side, in the middle together."""
        look = self.look
        gap = look.px(12)
        key_w = QFontMetricsF(look.font(SMALL)).horizontalAdvance(key_text(self.key)) + 2
        room = QRectF(0, 0, inner.width() - key_w - gap, inner.height())
        label_w = min(room.width(), fitted_font(self.text(), room, size, weight, LEFT)[1].width() + 2)
        x = inner.left() + (inner.width() - label_w - gap - key_w) / 2
        label = QRectF(x, inner.top(), label_w, inner.height())
        draw_fitted(painter, self.text(), label, size, colour, weight, LEFT)
        key = QRectF(x + label_w + gap, inner.top(), key_w, inner.height())
        draw_fitted(painter, key_text(self.key), key, look.px(SMALL), colour, flags=LEFT)


class ButtonRow(Panel):
    """A row of buttons made from actions; keeps the buttons and their focus while only labels change."""

    pressed = Signal(object)

    def __init__(self, weight: Weight, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.weight = weight
        self.actions_shown: tuple[Action, ...] = ()
        self.buttons: list[PlainButton] = []
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)

    def look_changed(self) -> None:
        self._row.setSpacing(round(self.look.px(10)))

    def show_actions(self, actions: tuple[Action, ...]) -> None:
        """Show the actions of this row's weight."""
        mine = tuple(a for a in actions if a.weight is self.weight)
        if mine == self.actions_shown:
            return
        self.actions_shown = mine
        while len(self.buttons) < len(mine):
            self._add_button()
        for i, button in enumerate(self.buttons):
            button.setVisible(i < len(mine))
            if i >= len(mine):
                continue
            action = mine[i]
            button.setText(action.label)
            button.key = action.key
            button.loud = self.weight is Weight.PRIMARY and action.key == "Return"  # what to do now, alone
            button.large = self.weight is Weight.PRIMARY
            button.setEnabled(action.enabled)
            button.setToolTip(action.why_not)
            self._row.setStretch(i, button.sizeHint().width())  # each has room in proportion to its label
            button.update()
        self._row.activate()

    def _add_button(self) -> None:
        button = PlainButton("", parent=self)
        button.set_look(self.look)
        index = len(self.buttons)
        button.setObjectName(f"{self.weight.value}-{index}")
        button.clicked.connect(self._on_clicked)
        self.buttons.append(button)
        button.fill()
        self._row.addWidget(button)

    def _on_clicked(self) -> None:
        index = next((i for i, b in enumerate(self.buttons) if b is self.sender()), None)
        if index is not None and index < len(self.actions_shown):
            self.pressed.emit(self.actions_shown[index].intent)
