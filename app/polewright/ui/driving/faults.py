"""The one place where faults of the program end up: a line in the log, a quiet panel; the night goes on."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Callable
from types import TracebackType

from PySide6.QtCore import QMessageLogContext, QObject, Qt, QtMsgType, Signal, Slot, qInstallMessageHandler

from polewright.services.program_log import LOG

LEVELS = {
    QtMsgType.QtDebugMsg: logging.DEBUG,
    QtMsgType.QtInfoMsg: logging.INFO,
    QtMsgType.QtWarningMsg: logging.WARNING,
    QtMsgType.QtCriticalMsg: logging.ERROR,
    QtMsgType.QtFatalMsg: logging.CRITICAL,
}

Show = Callable[[str, BaseException], None]


class Faults(QObject):
    """Catches what nobody caught, in every thread. `show` is called in the thread that made this object."""

    _caught = Signal(str, object)

    def __init__(self, show: Show, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._show = show
        self._caught.connect(self._on_caught, Qt.ConnectionType.QueuedConnection)

    def install(self) -> None:
        """From now on. `remove` puts everything back."""
        sys.excepthook = self._on_exception
        threading.excepthook = self._on_thread
        qInstallMessageHandler(log_qt_message)

    def remove(self) -> None:
        """Back to how Python and Qt do it."""
        sys.excepthook = sys.__excepthook__
        threading.excepthook = threading.__excepthook__
        qInstallMessageHandler(None)

    def _on_exception(self, kind: type[BaseException], error: BaseException, traceback: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, traceback)
            return
        LOG.error("fault in the program", exc_info=(kind, error, traceback))
        self._caught.emit("running", error)

    def _on_thread(self, caught: threading.ExceptHookArgs) -> None:
        if caught.exc_value is None:
            return
        name = "a thread" if caught.thread is None else caught.thread.name
        LOG.error("fault in %s", name, exc_info=(caught.exc_type, caught.exc_value, caught.exc_traceback))
        self._caught.emit(f"running {name}", caught.exc_value)

    @Slot(str, object)
    def _on_caught(self, where: str, error: BaseException) -> None:
        self._show(where, error)


def log_qt_message(kind: QtMsgType, _context: QMessageLogContext, message: str) -> None:
    """What Qt has to say goes to the log."""
    LOG.log(LEVELS.get(kind, logging.WARNING), "Qt: %s", message)
