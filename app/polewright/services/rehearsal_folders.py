"""Temporary folders of rehearsals: each belongs to a process, and goes with it or with the next start.

A rehearsal writes 3 GB of frames an hour. A process that is killed cannot delete them; the lock it held is free then.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.services.file_lock import FileLock

PREFIX, LOCK_NAME = "polewright-rehearsal-", ".lock"
FRAMES_KEPT = 30  # of a practised night: the window looks at the newest only


class RehearsalFolders:
    """Makes them, deletes them."""

    def __init__(self, root: Path | None = None) -> None:
        """`root`: where they lie; the temporary folder of the system by default, which is looked for when needed."""
        self._given = root
        self._locks: dict[Path, FileLock] = {}

    def make(self) -> Path:
        """An empty folder, locked for this process; those that nobody holds any more are deleted first.

        RecordingError where the disk takes none.
        """
        try:
            self.sweep()
            folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=self._root))
            lock = FileLock(folder / LOCK_NAME)
            lock.take()
        except OSError as error:
            raise RecordingError(f"No temporary folder can be made: {error.strerror or error}.") from error
        self._locks[folder] = lock
        return folder

    @property
    def _root(self) -> Path:
        return Path(tempfile.gettempdir()) if self._given is None else self._given

    def discard(self, folder: Path) -> None:
        """Delete one of `make`."""
        shutil.rmtree(folder, ignore_errors=True)
        lock = self._locks.pop(folder, None)
        if lock is not None:
            with contextlib.suppress(OSError):
                lock.free()
        shutil.rmtree(folder, ignore_errors=True)  # what was in use, on systems that keep such files

    def sweep(self) -> None:
        """Delete what killed rehearsals have left behind."""
        for folder in self._root.glob(f"{PREFIX}*"):
            if folder not in self._locks and _abandoned(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _abandoned(folder: Path) -> bool:
    """Whether no process holds it; a folder without a lock of its own is none of ours, or is being made."""
    path = folder / LOCK_NAME
    if folder.is_symlink() or path.is_symlink() or not path.is_file():
        return False
    lock = FileLock(path)
    try:
        free = lock.take()
    except OSError:  # somebody else's
        return False
    lock.free()
    return free


def only_latest(frame: Path) -> str:
    """For the night of a rehearsal: keeps the frame, and of those before it only the latest few; its name."""
    for older in sorted(frame.parent.glob(f"*{frame.suffix}"))[:-FRAMES_KEPT]:
        with contextlib.suppress(OSError):
            older.unlink()
    return str(frame)


@contextmanager
def rehearsal_folder(root: Path | None = None) -> Iterator[Path]:
    """One for as long as it takes."""
    folders = RehearsalFolders(root)
    folder = folders.make()
    try:
        yield folder
    finally:
        folders.discard(folder)
