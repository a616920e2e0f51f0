"""An advisory lock between processes, freed by the system when its holder dies."""

from __future__ import annotations

import os
import sys
from pathlib import Path


class FileLock:
    """Held by one process at a time, through a file of its own that stays behind empty."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._descriptor: int | None = None

    def take(self, *, wait: bool = False) -> bool:
        """True when this process holds the lock now; with `wait`, blocks until it does. OSError without a file."""
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(descriptor, wait)
        except (BlockingIOError, PermissionError):
            os.close(descriptor)
            return False
        except BaseException:
            os.close(descriptor)
            raise
        self._descriptor = descriptor
        return True

    def free(self) -> None:
        """Give the lock back; harmless when it is not held."""
        if self._descriptor is not None:
            _unlock(self._descriptor)
            os.close(self._descriptor)
            self._descriptor = None


if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int, wait: bool) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)

    def _unlock(descriptor: int) -> None:
        os.lseek(descriptor, 0, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_UNLCK, 1)
else:
    import fcntl

    def _lock(descriptor: int, wait: bool) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _unlock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_UN)
