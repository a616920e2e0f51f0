"""Keeps the screen from sleeping while a night runs. Best effort: where it does not work, nothing else suffers."""

from __future__ import annotations

import sys
from typing import Any, Protocol

ES_CONTINUOUS, ES_SYSTEM_REQUIRED, ES_DISPLAY_REQUIRED = 0x80000000, 0x00000001, 0x00000002
SERVICE, PATH = "org.freedesktop.ScreenSaver", "/org/freedesktop/ScreenSaver"


class Wakefulness(Protocol):
    """Holds the screen awake, and lets go."""

    def hold(self, why: str) -> None: ...

    def release(self) -> None: ...


class NoWakefulness:
    """Does nothing: tests, pictures, and platforms without a harmless way."""

    def hold(self, why: str) -> None:
        """Nothing."""

    def release(self) -> None:
        """Nothing."""


class FreedesktopWakefulness:
    """The desktop's own request over the session bus (freedesktop.org Idle Inhibition Service)."""

    def __init__(self) -> None:
        self._cookie: Any = None

    def hold(self, why: str) -> None:
        from PySide6.QtDBus import QDBusInterface, QDBusMessage

        if self._cookie is not None:
            return
        reply = QDBusInterface(SERVICE, PATH, SERVICE).call("Inhibit", "Polewright", why)
        if reply.type() == QDBusMessage.MessageType.ReplyMessage and reply.arguments():
            self._cookie = reply.arguments()[0]

    def release(self) -> None:
        from PySide6.QtDBus import QDBusInterface

        if self._cookie is not None:
            QDBusInterface(SERVICE, PATH, SERVICE).call("UnInhibit", self._cookie)
            self._cookie = None


class WindowsWakefulness:
    """SetThreadExecutionState; Windows forgets it when the program ends."""

    def hold(self, why: str) -> None:
        self._set(ES_CONTINUOUS | ES_SYSTEM_REQUIRED | ES_DISPLAY_REQUIRED)

    def release(self) -> None:
        self._set(ES_CONTINUOUS)

    def _set(self, state: int) -> None:
        import ctypes

        ctypes.windll.kernel32.SetThreadExecutionState(state)  # type: ignore[attr-defined, unused-ignore]


class MacWakefulness:
    """`caffeinate -d -w PID` is part of macOS and stops by itself when this program stops.

    The process's own way (NSProcessInfo) would need a bridge that we do not ship.
    """

    def __init__(self) -> None:
        self._process: Any = None

    def hold(self, why: str) -> None:
        from PySide6.QtCore import QCoreApplication, QProcess

        if self._process is None:
            self._process = QProcess()
            self._process.start("caffeinate", ["-d", "-w", str(QCoreApplication.applicationPid())])

    def release(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.waitForFinished(500)
            self._process = None


def wakefulness_here(platform: str = sys.platform) -> Wakefulness:
    """The way of this platform."""
    if platform.startswith("win"):
        return WindowsWakefulness()
    if platform == "darwin":
        return MacWakefulness()
    return FreedesktopWakefulness() if platform.startswith("linux") else NoWakefulness()
