"""The replay's controls: play, step, speed, the whole night as a line to scrub along, and taking over."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import RIGHT, star_path
from polewright.ui.intents import Intent, PlayPause, Scrub, SetSpeed, StepEvent, TakeOver
from polewright.ui.panel import Caption, Panel
from polewright.ui.view_model import Replay

SPEEDS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
SCRUB_STEP_S = 10.0


class Scrubber(Panel):
    """The night as a line with the position on it. Emits seconds."""

    scrubbed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.replay: Replay | None = None
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def draw(self, painter: QPainter, box: QRectF) -> None:
        if self.replay is None:
            return
        look = self.look
        y = box.center().y()
        left, right = box.left() + look.px(14), box.right() - look.px(14)
        share = self.replay.position_s / max(self.replay.length_s, 1e-9)
        x = left + (right - left) * min(1.0, max(0.0, share))
        painter.setPen(QPen(look.colour("shade"), look.px(3)))
        painter.drawLine(QPointF(left, y), QPointF(right, y))
        painter.setPen(QPen(look.colour("strong"), look.px(6)))
        painter.drawLine(QPointF(left, y), QPointF(x, y))
        painter.setPen(QPen(look.colour("ground"), look.px(2)))
        painter.setBrush(look.colour("strong"))
        painter.drawPath(star_path(QPointF(x, y), look.px(15)))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._ask(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        self._ask(event)

    def _ask(self, event: QMouseEvent) -> None:
        if self.replay is None:
            return
        margin = self.look.px(14)
        share = (event.position().x() - margin) / max(1.0, self.width() - 2 * margin)
        self.scrubbed.emit(self.replay.length_s * min(1.0, max(0.0, share)))


class Transport(Panel):
    """One row: buttons left and right, times and the line between them."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.replay: Replay | None = None
        self.play = PlainButton("Play", "Space", parent=self)
        self.slower = PlainButton("Slower", "Down", parent=self)
        self.faster = PlainButton("Faster", "Up", parent=self)
        self.take_over = PlainButton("Take over", "T", parent=self)
        self.line = Scrubber(self)
        self.line.scrubbed.connect(self._on_scrub)
        self.play.clicked.connect(self._on_play)
        self.slower.clicked.connect(self._on_slower)
        self.faster.clicked.connect(self._on_faster)
        self.take_over.clicked.connect(self._on_take_over)
        self.buttons = (self.play, self.slower, self.faster, self.take_over)
        self.speed, self.times = Caption(), Caption(flags=RIGHT)
        self._row = QHBoxLayout()
        for part in (*self.buttons, self.speed, self.times):
            self._row.addWidget(part)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 6)
        column.setSpacing(2)
        column.addWidget(self.line, 1)
        column.addLayout(self._row)

    def show_replay(self, replay: Replay) -> None:
        """Show another state."""
        self.replay = replay
        self.line.replay = replay
        self.play.setText("Pause" if replay.playing else "Play")
        self.take_over.setText("Just watch" if replay.trainee else "Take over")
        self.line.update()
        self.speed.show_text(f"{replay.speed:g} times")
        self.times.show_text(f"{replay.position_text} of {replay.length_text}")

    def intent_for_key(self, key: int) -> Intent | None:
        """What a key does to the replay."""
        if self.replay is None:
            return None
        at = self.replay.position_s
        keys: dict[int, Intent] = {
            Qt.Key.Key_Space: PlayPause(),
            Qt.Key.Key_Left: Scrub(max(0.0, at - SCRUB_STEP_S)),
            Qt.Key.Key_Right: Scrub(min(self.replay.length_s, at + SCRUB_STEP_S)),
            Qt.Key.Key_Comma: StepEvent(-1),
            Qt.Key.Key_Period: StepEvent(1),
            Qt.Key.Key_Up: SetSpeed(next_speed(self.replay.speed, 1)),
            Qt.Key.Key_Down: SetSpeed(next_speed(self.replay.speed, -1)),
            Qt.Key.Key_T: TakeOver(),
        }
        return keys.get(Qt.Key(key))

    def _on_scrub(self, seconds: float) -> None:
        self.pressed.emit(Scrub(seconds))

    def _on_play(self) -> None:
        self.pressed.emit(PlayPause())

    def _on_slower(self) -> None:
        if self.replay is not None:
            self.pressed.emit(SetSpeed(next_speed(self.replay.speed, -1)))

    def _on_faster(self) -> None:
        if self.replay is not None:
            self.pressed.emit(SetSpeed(next_speed(self.replay.speed, 1)))

    def _on_take_over(self) -> None:
        self.pressed.emit(TakeOver())

    def look_changed(self) -> None:
        self._row.setSpacing(round(self.look.px(8)))
        for button in self.buttons:
            button.setFixedSize(round(self.look.px(154)), round(self.look.px(44)))


def next_speed(speed: float, steps: int) -> float:
    """The speed so many steps up or down the ladder."""
    nearest = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - speed))
    return SPEEDS[min(len(SPEEDS) - 1, max(0, nearest + steps))]
