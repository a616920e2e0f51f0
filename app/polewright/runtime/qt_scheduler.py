"""Real time for the engine: actions later, on Qt's timers, in the thread that asked for them."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, Qt, QTimer


class QtTimer(QObject):
    """One scheduled action. Satisfies ports.Timer."""

    def __init__(self, delay_s: float, action: Callable[[], None], parent: QObject) -> None:
        super().__init__(parent)
        self._action: Callable[[], None] | None = action
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._on_timeout)
        self._timer.start(max(0, round(delay_s * 1000.0)))

    def cancel(self) -> None:
        self._action = None
        self._timer.stop()
        self.deleteLater()

    def _on_timeout(self) -> None:
        action, self._action = self._action, None
        self.deleteLater()
        if action is not None:
            action()


class QtScheduler(QObject):
    """Satisfies ports.Scheduler. Its timers die with it, so nothing runs after the window has gone."""

    def after(self, delay_s: float, action: Callable[[], None]) -> QtTimer:
        """Run `action` once, `delay_s` seconds from now."""
        return QtTimer(delay_s, action, self)
