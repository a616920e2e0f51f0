"""File system events as a wake-up call, where the platform and the file system have them (watchdog)."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

CLOSING = ("closed", "moved")
OF_INTEREST = ("created", "modified", *CLOSING)


class NativeWakeup:
    """Calls `hint(path, closed)` from a thread of its own; silent where there are no events (network folders)."""

    def __init__(self, folder: Path, hint: Callable[[str, bool], None]) -> None:
        self._folder = folder
        self._hint = hint
        self._observer: Any = None
        self._handler: Any = None
        self._watches: dict[Path, Any] = {}

    def start(self) -> bool:
        """Begin to listen; False when the platform refuses, polling must do then."""
        from watchdog.events import FileSystemEventHandler
        from watchdog.observers import Observer

        hint = self._hint

        class Handler(FileSystemEventHandler):  # type: ignore[misc]
            def on_any_event(self, event: Any) -> None:
                if event.event_type in OF_INTEREST and not event.is_directory:
                    hint(os.fsdecode(event.dest_path or event.src_path), event.event_type in CLOSING)

        observer = Observer()
        try:
            observer.schedule(Handler(), str(self._folder))
            observer.start()
        except OSError:  # no such folder, or the limit of watches is reached
            return False
        self._observer, self._handler, self._watches = observer, Handler(), {}
        return True

    def listen_below(self, folders: Sequence[Path]) -> None:
        """Listen to these as well, and to no others; where the platform refuses, polling must do."""
        if self._observer is None or set(folders) == self._watches.keys():
            return
        for gone in self._watches.keys() - set(folders):
            with contextlib.suppress(OSError, KeyError):
                self._observer.unschedule(self._watches.pop(gone))
        for folder in folders:
            if folder not in self._watches:
                with contextlib.suppress(OSError):
                    self._watches[folder] = self._observer.schedule(self._handler, str(folder))

    def stop(self) -> None:
        """Stop listening and wait for the thread."""
        observer, self._observer = self._observer, None
        if observer is not None:
            with contextlib.suppress(OSError):
                observer.stop()
            observer.join()
