"""Quiet panels: trouble with its cause and cure, and long work with its progress."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFont, QPainter, QPen
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT, LEFT_TOP, RIGHT, WRAP, draw_fitted, fit
from polewright.ui.intents import CancelWork, DismissTrouble, OfTheWindow
from polewright.ui.keys import WHY
from polewright.ui.keys_bar import KeysBar
from polewright.ui.look import BODY, SMALL, SMALLEST_PX, VALUE
from polewright.ui.panel import Panel
from polewright.ui.view_model import Trouble, Work

TOP_RIGHT = Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignRight
BOTTOM_RIGHT = Qt.AlignmentFlag.AlignBottom | Qt.AlignmentFlag.AlignRight


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


class WorkPanel(Panel):
    """Long work: its name, how far it is, and a way to stop it."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.work: Work | None = None
        self.cancel_button = PlainButton("Stop this", "Escape", parent=self)
        self.cancel_button.ground = "raised"
        self.cancel_button.clicked.connect(self._on_cancel)
        self._room = QVBoxLayout(self)
        self._room.addWidget(self.cancel_button, 0, BOTTOM_RIGHT)

    def show_work(self, work: Work | None) -> None:
        """Show other work, or none."""
        self.work = work
        if work is not None:
            self.cancel_button.setVisible(work.can_cancel)
            self.setAccessibleName(work.title)
        self.update()

    def _on_cancel(self) -> None:
        self.pressed.emit(CancelWork())

    def look_changed(self) -> None:
        side, below = round(self.look.px(28)), round(self.look.px(22))
        self._room.setContentsMargins(side, below, side, below)
        self.cancel_button.setFixedSize(round(self.look.px(170)), round(self.look.px(52)))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.work is None:
            return
        look, work = self.look, self.work
        painter.setPen(look.pen("ink", 1.6))
        painter.setBrush(look.colour("raised"))
        rim = look.px(8)  # a moat of the ground's colour sets it off from what lies beneath
        painter.drawRect(box.adjusted(rim, rim, -rim, -rim))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        inner = box.adjusted(look.px(30), look.px(24), -look.px(30), -look.px(20))
        title = QRectF(inner.left(), inner.top(), inner.width() - look.px(90), look.px(34))
        draw_fitted(painter, work.title, title, look.px(VALUE), look.colour("strong"), QFont.Weight.DemiBold, LEFT)
        y = title.bottom() + look.px(16)
        painter.setPen(look.pen("line", 4))
        painter.drawLine(QPointF(inner.left(), y), QPointF(inner.right(), y))
        if work.fraction is not None:
            done = inner.left() + inner.width() * min(1.0, max(0.0, work.fraction))
            painter.setPen(look.pen("strong", 8))
            painter.drawLine(QPointF(inner.left(), y), QPointF(done, y))
            right = QRectF(inner.right() - look.px(84), inner.top(), look.px(84), look.px(34))
            draw_fitted(
                painter, f"{work.fraction * 100:.0f} %", right, look.px(VALUE), look.colour("ink"), flags=RIGHT
            )
        note = QRectF(inner.left(), y + look.px(16), inner.width() - look.px(180), look.px(34))
        draw_fitted(painter, work.note, note, look.px(SMALL), look.colour("faint"), flags=LEFT)


def show_work(panel: WorkPanel, bar: KeysBar, work: Work | None) -> None:
    """Work that somebody waits for over the page, quiet work at its edge."""
    over = work is not None and not work.quiet
    panel.show_work(work if over else None)
    panel.setVisible(over)
    bar.show_work(None if over else work)
