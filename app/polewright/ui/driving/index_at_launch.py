"""The index of the sky, made quietly while the person still sets up: a process of its own, and how far it is."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject, QProcess

from polewright.services.contained import PREPARE
from polewright.services.contained.process import program_command

Tell = Callable[[float | None], None]


class IndexAtLaunch(QObject):
    """`tell` gets the share done, and None once nothing is left to do, or where it cannot be done (then a frame
    makes what it needs)."""

    def __init__(self, tell: Tell, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._tell = tell
        self._stopped = False
        self._process = QProcess(self)
        self._process.readyReadStandardOutput.connect(self._on_lines)
        self._process.finished.connect(self._on_over)
        self._process.errorOccurred.connect(self._on_over)

    def start(self, scale_arcsec_px: float | None) -> None:
        """Begin, with what a camera of this scale needs; waits for nothing."""
        if self._stopped:
            return
        scale = [] if scale_arcsec_px is None else [f"{scale_arcsec_px:.3f}"]
        program, *arguments = program_command(PREPARE)
        self._process.start(program, [*arguments, *scale])

    def stop(self) -> None:
        """Leave the rest to the next start; a layer that is half made is not kept."""
        self._stopped, self._tell = True, _to_nobody
        if self._process.state() is not QProcess.ProcessState.NotRunning:
            self._process.kill()
            self._process.waitForFinished(1000)

    def _on_lines(self) -> None:
        lines = bytes(self._process.readAllStandardOutput().data()).split()
        try:
            share = float(lines[-1])
        except (IndexError, ValueError):
            return
        self._tell(min(1.0, max(0.0, share)))

    def _on_over(self) -> None:
        self._tell(None)


def _to_nobody(share: float | None) -> None:
    """After the end nobody listens."""
