"""Frames waiting to be measured: of previews the latest wins, frames of a capture are never dropped."""

from __future__ import annotations

import threading
from collections import deque

from polewright.services.folder_events import FrameArrived


class FrameBacklog:
    """A thread-safe queue between the watcher and the worker that measures."""

    def __init__(self) -> None:
        self._kept: deque[FrameArrived] = deque()
        self._preview: FrameArrived | None = None
        self._skipped: list[FrameArrived] = []
        self._changed = threading.Condition()
        self._closed = False

    def put(self, frame: FrameArrived, *, keep: bool) -> None:
        """Add a frame; with `keep` (the capture runs) it will be taken for certain, in the order of arrival."""
        with self._changed:
            if keep:
                self._kept.append(frame)
            else:
                if self._preview is not None:
                    self._skipped.append(self._preview)
                self._preview = frame
            self._changed.notify()

    def take(self, timeout_s: float = 0.0) -> FrameArrived | None:
        """The next frame to measure: kept ones first, oldest first, then the newest preview; None if none comes."""
        with self._changed:
            self._changed.wait_for(lambda: self._kept or self._preview or self._closed, timeout_s)
            if self._kept:
                return self._kept.popleft()
            preview, self._preview = self._preview, None
            return preview

    def take_skipped(self) -> tuple[FrameArrived, ...]:
        """The previews overtaken since the last call, for the record."""
        with self._changed:
            skipped, self._skipped = tuple(self._skipped), []
        return skipped

    def __len__(self) -> int:
        with self._changed:
            return len(self._kept) + (self._preview is not None)

    def close(self) -> None:
        """Wake whoever waits; what is in the queue can still be taken."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
