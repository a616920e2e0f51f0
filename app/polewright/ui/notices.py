"""Quiet panels: trouble with its cause and cure, and long work with its progress."""

from __future__ import annotations

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QHBoxLayout, QWidget

from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT, LEFT_TOP, WRAP, draw_fitted, fit
from polewright.ui.intents import DismissTrouble, OfTheWindow
from polewright.ui.keys import WHY
from polewright.ui.look import BODY, SMALLEST_PX
from polewright.ui.panel import Panel
from polewright.ui.view_model import Trouble

TOP_RIGHT = Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignRight


class TroublePanel(Panel):
    """What happened and what to do about it. A broken frame around it, no colour of its own."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.trouble: Trouble | None = None
        self.close_button = PlainButton("Dismiss", "Escape", parent=self)
        self.close_button.clicked.connect(self._on_close)
        self.why_button = PlainButton("Why?", WHY, parent=self)
        self.why_button.clicked.connect(self._on_why)
        self._room = QHBoxLayout(self)
        self._room.addStretch(1)
        self._room.addWidget(self.why_button, 0, TOP_RIGHT)
        self._room.addWidget(self.close_button, 0, TOP_RIGHT)

    def show_trouble(self, trouble: Trouble | None) -> None:
        """Show another trouble, or none."""
        self.trouble = trouble
        if trouble is not None:
            self.setAccessibleName(f"{trouble.cause} {trouble.cure}")
        self.update()

    def _on_close(self) -> None:
        self.pressed.emit(DismissTrouble())

    def _on_why(self) -> None:
        self.pressed.emit(OfTheWindow.WHY)

    def look_changed(self) -> None:
        margin = round(self.look.px(10))
        self._room.setContentsMargins(margin, margin, margin, margin)
        self.close_button.setFixedSize(round(self.look.px(138)), round(self.look.px(40)))
        self.why_button.setFixedSize(round(self.look.px(84)), round(self.look.px(40)))
        self._room.setSpacing(round(self.look.px(8)))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.trouble is None:
            return
        look, t = self.look, self.trouble
        frame = box.adjusted(1, 1, -1, -1)
        painter.setPen(QPen(look.colour("ink"), look.px(1.6), Qt.PenStyle.DashLine))
        painter.drawRoundedRect(frame, look.px(8), look.px(8))
        inner = frame.adjusted(look.px(14), look.px(8), -look.px(14), -look.px(8))
        more = [t.since_text] if t.since_text else []
        if t.repeat > 1:
            more.append(f"{t.repeat} times")
        cure = t.cure + (f" ({', '.join(more)})" if more else "")
        beside_px = inner.width() - look.px(246)
        size, head_px = _sizes(t.cause, beside_px, cure, inner, look.px(BODY), look.px(38))
        head = QRectF(inner.left(), inner.top(), beside_px, head_px)
        draw_fitted(painter, t.cause, head, size, look.colour("strong"), QFont.Weight.DemiBold, LEFT | WRAP)
        body = QRectF(inner.left(), head.bottom(), inner.width(), inner.bottom() - head.bottom())
        draw_fitted(painter, cure, body, size, look.colour("ink"))


def _sizes(
    cause: str, beside_px: float, cure: str, inner: QRectF, largest_px: float, button_px: float
) -> tuple[float, float]:
    """The largest type in which the cause beside the button and the cure below both fit, and the cause's height."""
    size = max(SMALLEST_PX, largest_px)
    while True:
        head = fit(cause, beside_px, inner.height(), size, QFont.Weight.DemiBold, LEFT | WRAP, size)[1].height()
        body = fit(cure, inner.width(), inner.height(), size, QFont.Weight.Normal, LEFT_TOP | WRAP, size)[1].height()
        head = max(head, button_px)
        if head + body <= inner.height() or size <= SMALLEST_PX:
            return size, head
        size = max(SMALLEST_PX, size - 1.0)
