"""How a rehearsal's frames reach the engine: as real files through the real watcher."""

from __future__ import annotations

import queue
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from polewright.core.errors import PolewrightError
from polewright.core.model import Utc
from polewright.practice.world import RehearsalWorld
from polewright.services.clock import SystemClock
from polewright.services.folder_events import FolderEvent, FrameArrived
from polewright.services.folder_watch import FolderWatcher

WATCHER_PATIENCE_S = 20.0


class Delivers(Protocol):
    """Brings the frames of a rehearsal to the engine: as files, or in tests without them."""

    def start(self) -> None: ...

    def stop(self) -> bool: ...

    def deliver(self, start: Utc, exposure_s: float) -> None: ...


class FilesThroughWatcher:
    """Writes each frame as FITS into a folder, waits until the watcher reports it, hands its path on."""

    def __init__(self, world: RehearsalWorld, folder: Path, arrived: Callable[[Path], None]) -> None:
        self._world = world
        self._folder = folder
        self._arrived = arrived
        self._reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
        folder.mkdir(parents=True, exist_ok=True)
        self._watcher = FolderWatcher(folder, self._reports.put, SystemClock())

    def start(self) -> None:
        """Begin to watch."""
        self._watcher.start()
        self._next(type(None))

    def stop(self) -> bool:
        """Stop watching; False when the watcher is held up."""
        return self._watcher.stop()

    def deliver(self, start: Utc, exposure_s: float) -> None:
        """For RehearsalWorld.start_camera. PolewrightError where the frame cannot be written."""
        try:
            self._world.rig.write_frame(self._folder, start, exposure_s)
        except OSError as error:
            raise PolewrightError(
                f"The simulated camera cannot write into {self._folder} ({error.strerror or error}): make room there."
            ) from error
        report = self._next(FrameArrived)
        assert isinstance(report, FrameArrived)
        self._arrived(report.path)

    def _next(self, kind: type) -> FolderEvent:
        while True:
            try:
                report = self._reports.get(timeout=WATCHER_PATIENCE_S)
            except queue.Empty:
                raise PolewrightError(f"No frame was seen in {self._folder}: can files be written there?") from None
            if kind is type(None) or isinstance(report, kind):
                return report
