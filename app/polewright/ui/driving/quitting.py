"""Ctrl+C, the end of the terminal or of the desktop session: the window closes as if the person had closed it."""

from __future__ import annotations

import contextlib
import signal
import socket
from collections.abc import Callable

from PySide6.QtCore import QObject, QSocketNotifier, Slot

from polewright.services.end_signals import STOPS


class QuitSignals(QObject):
    """Calls `close` in the event loop when a signal asks the program to end.

    Python would run a handler only between two of its own steps, somewhere inside a slot; the number is written to a
    socket instead, which wakes the event loop. Attributes: `number` of the signal that came, 0 for none.
    """

    def __init__(self, close: Callable[[], object], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.number = 0
        self._close = close
        self._ours, self._theirs = socket.socketpair()
        for end in (self._ours, self._theirs):
            end.setblocking(False)
        self._notifier = QSocketNotifier(self._ours.fileno(), QSocketNotifier.Type.Read, self)
        self._notifier.activated.connect(self._on_signal)
        # the socket first, so that no signal is lost
        taken = [number for number in STOPS if signal.getsignal(number) is not signal.SIG_IGN]  # nohup stays as it is
        self._wakeup_before = signal.set_wakeup_fd(self._theirs.fileno(), warn_on_full_buffer=False)
        self._before = {number: signal.signal(number, _take_note) for number in taken}

    def remove(self) -> None:
        """Put everything back."""
        signal.set_wakeup_fd(self._wakeup_before)
        for number, handler in self._before.items():
            signal.signal(number, handler)
        self._notifier.setEnabled(False)
        self._ours.close()
        self._theirs.close()

    @Slot()
    def _on_signal(self) -> None:
        with contextlib.suppress(OSError):
            for number in self._ours.recv(64):
                if number in self._before:
                    self.number = number
                    self._close()


def _take_note(number: int, frame: object) -> None:
    """Nothing: the number is on its way to the event loop."""
