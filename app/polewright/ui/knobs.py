"""The screws of a simulated mount, to be turned on the screen by mouse, wheel or keys."""

from __future__ import annotations

from math import atan2, pi

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent, QMouseEvent, QPainter, QPen, QWheelEvent
from PySide6.QtWidgets import QHBoxLayout, QWidget

from polewright.core.screws.angles import Screw
from polewright.ui.drawing import draw_fitted, on_circle
from polewright.ui.intents import Intent, RotateRehearsalAxis, TurnRehearsalScrew
from polewright.ui.look import BODY, SMALL
from polewright.ui.panel import Panel
from polewright.ui.theme import Role
from polewright.ui.view_model import Rehearsal

WHEEL_TURNS = 1.0 / 16.0
KEY_TURNS = 1.0 / 8.0


class Knob(Panel):
    """A knurled head with a notch. Emits each small turn, clockwise positive, in turns."""

    turned = Signal(float)

    def __init__(self, name: str, keys: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.name, self.keys = name, keys
        self.turns = 0.0
        self.value_text = ""
        self._grip: float | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(f"{name} screw")

    def show_turns(self, turns: float, text: str) -> None:
        """Show where the screw stands."""
        if (turns, text) != (self.turns, self.value_text):
            self.turns, self.value_text = turns, text
            self.update()

    def _head(self) -> tuple[QPointF, float]:
        radius = min(self.height() * 0.5 - self.look.px(4), self.width() * 0.24)
        return QPointF(radius + self.look.px(6), self.height() / 2), radius

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look = self.look
        centre, radius = self._head()
        painter.setPen(look.pen("strong" if self.hasFocus() else "ink", 2.6 if self.hasFocus() else 1.6))
        painter.setBrush(look.colour("raised"))
        painter.drawEllipse(centre, radius, radius)
        painter.setPen(look.pen("shade", 1.6))
        for i in range(24):
            angle = i * 15 + self.turns * 360.0
            painter.drawLine(on_circle(centre, radius * 0.86, angle), on_circle(centre, radius * 0.98, angle))
        notch = QPen(look.colour("strong"), look.px(5))
        notch.setCapStyle(Qt.PenCapStyle.RoundCap)
        painter.setPen(notch)
        angle = self.turns * 360.0
        painter.drawLine(on_circle(centre, radius * 0.35, angle), on_circle(centre, radius * 0.72, angle))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        left = centre.x() + radius + look.px(10)
        words = QRectF(left, box.top(), box.right() - left, box.height())
        row = words.height() / (3 + self.keys.count("\n"))
        lines: tuple[tuple[str, float, Role, QFont.Weight], ...] = (
            (self.name, BODY, "ink", QFont.Weight.DemiBold),
            (self.value_text, BODY, "strong", QFont.Weight.Normal),
            (self.keys, SMALL, "faint", QFont.Weight.Normal),
        )
        for i, (text, size, role, weight) in enumerate(lines):
            line = QRectF(words.left(), words.top() + i * row, words.width(), row * (1 + text.count("\n")))
            draw_fitted(painter, text, line, look.px(size), look.colour(role), weight, 0x81)

    def _angle(self, event: QMouseEvent) -> float:
        centre, _ = self._head()
        d = event.position() - centre
        return atan2(d.x(), -d.y()) / (2 * pi)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._grip = self._angle(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._grip is None:
            return
        angle = self._angle(event)
        step = (angle - self._grip + 0.5) % 1.0 - 0.5
        self._grip = angle
        if step:
            self.turned.emit(step)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._grip = None

    def wheelEvent(self, event: QWheelEvent) -> None:
        self.turned.emit(event.angleDelta().y() / 120.0 * WHEEL_TURNS)
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        event.ignore()  # the window knows the keys

    def focusInEvent(self, event: object) -> None:
        self.update()

    def focusOutEvent(self, event: object) -> None:
        self.update()


class KnobPanel(Panel):
    """Both screws and the RA axis."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.azimuth = Knob("azimuth", "← ↺   → ↻", self)
        self.altitude = Knob("altitude", "↓ ↺   ↑ ↻", self)
        self.axis = Knob("RA axis", "PgUp E\nPgDn W", self)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        for knob in (self.azimuth, self.altitude, self.axis):
            row.addWidget(knob, 1)
        self.azimuth.turned.connect(self._on_azimuth)
        self.altitude.turned.connect(self._on_altitude)
        self.axis.turned.connect(self._on_axis)

    def show_rehearsal(self, rehearsal: Rehearsal) -> None:
        """Show where the simulated screws stand."""
        self.azimuth.show_turns(rehearsal.azimuth_turns, _turns(rehearsal.azimuth_turns))
        self.altitude.show_turns(rehearsal.altitude_turns, _turns(rehearsal.altitude_turns))
        self.axis.show_turns(rehearsal.ra_deg / 360.0, _east_west(rehearsal.ra_deg))

    def intent_for_key(self, key: int, fine: bool) -> Intent | None:
        """What a key does to the simulated mount; `fine` is a quarter of the step."""
        step = KEY_TURNS * (0.25 if fine else 1.0)
        keys: dict[int, Intent] = {
            Qt.Key.Key_Right: TurnRehearsalScrew(Screw.AZIMUTH, step),
            Qt.Key.Key_Left: TurnRehearsalScrew(Screw.AZIMUTH, -step),
            Qt.Key.Key_Up: TurnRehearsalScrew(Screw.ALTITUDE, step),
            Qt.Key.Key_Down: TurnRehearsalScrew(Screw.ALTITUDE, -step),
            Qt.Key.Key_PageUp: RotateRehearsalAxis(-1.0 if fine else -5.0),  # east
            Qt.Key.Key_PageDown: RotateRehearsalAxis(1.0 if fine else 5.0),
        }
        return keys.get(Qt.Key(key))

    def _on_azimuth(self, turns: float) -> None:
        self.pressed.emit(TurnRehearsalScrew(Screw.AZIMUTH, turns))

    def _on_altitude(self, turns: float) -> None:
        self.pressed.emit(TurnRehearsalScrew(Screw.ALTITUDE, turns))

    def _on_axis(self, turns: float) -> None:
        self.pressed.emit(RotateRehearsalAxis(turns * 360.0))


def _turns(turns: float) -> str:
    return f"{turns:+.2f}".replace("-", "−")


def _east_west(west_deg: float) -> str:
    if abs(west_deg) < 0.5:
        return "0°"
    return f"{abs(west_deg):.0f}° {'west' if west_deg > 0.0 else 'east'}"
