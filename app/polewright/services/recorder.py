"""The night's log: append-only, numbered, checksummed; a kill at any byte loses at most the line being written.

Every line is handed to the system at once (it survives a crash of the program) and forced to the disk when urgent,
and otherwise with the first call at least `sync_s` seconds after the last time (it survives an empty battery). When
the disk is full or the folder cannot be written, nothing is raised: events wait in memory, in order, and every later
call tries again.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from polewright import __version__
from polewright.core.errors import RecordingError
from polewright.services.atomic_file import sync_folder, unused_name, write_atomically
from polewright.services.checkpoint import Checkpoint, log_digest, read_checkpoint, write_checkpoint
from polewright.services.file_lock import FileLock
from polewright.services.log_format import FORMAT, HEADER_KIND, VERSION, LoggedEvent, encode_line
from polewright.services.log_migration import EVENT_KIND
from polewright.services.night_log import LARGEST_LOG, LOG_NAME, NightLog, parse_night
from polewright.services.ports import Clock
from polewright.services.regular_file import read_regular
from polewright.words.notices import unrecorded

MAX_WAITING_BYTES = 256 << 20  # chosen: a night of star lists waits in memory while the disk is full
GAP_KIND = "log_gap"


class NightRecorder:
    """Satisfies ports.Recorder; one thread at a time.

    Attributes: `folder`, `resumed` (the log as it was found, with the data of its events alone; None for a new
    night), `checkpoint` (where it stood at one of those lines, if that may be believed), `trouble` (why nothing can
    be written at present, None when all is well). `on_trouble` is called when trouble begins, changes and, with
    None, when it is over.
    """

    def __init__(
        self,
        folder: Path,
        clock: Clock,
        on_trouble: Callable[[RecordingError | None], None] | None = None,
        sync_s: float = 1.0,
    ) -> None:
        self.folder = folder
        self.resumed: NightLog | None = None
        self.checkpoint: Checkpoint | None = None
        self.trouble: RecordingError | None = None
        self._path = folder / LOG_NAME
        self._clock = clock
        self._on_trouble = on_trouble or (lambda trouble: None)
        self._sync_s = sync_s
        self._lock = FileLock(folder / ".lock")
        self._descriptor: int | None = None
        self._length = 0
        self._digest = log_digest()  # of the bytes written so far
        self._waiting: deque[bytes] = deque()
        self._waiting_bytes = self._lost = 0
        self._synced_at_s = clock.monotonic_s()
        self._unsynced = False
        self._next_seq = 0
        self._zero_s = clock.monotonic_s()
        self._set_aside = b""
        self._begin()

    def record(self, kind: str, data: dict[str, Any], *, urgent: bool = False) -> int:
        """Append one event and return its number. TypeError when `data` holds what cannot be logged (a bug)."""
        seq = self._append(kind, data, urgent)
        self.retry(urgent=urgent)
        return seq

    def keep_checkpoint(self, state: dict[str, Any]) -> None:
        """Where the night stands after the last line; not while lines wait for the disk."""
        if self._descriptor is not None and not self._waiting and not self._lost and self._next_seq:
            at = Checkpoint(self._next_seq - 1, self._length, state)
            write_checkpoint(self.folder, at, self._digest.hexdigest())

    def retry(self, *, urgent: bool = False) -> bool:
        """Write what waits; True when nothing waits any more. To be called now and then while there is trouble."""
        try:
            self._open()
            self._write_waiting()
            if self._unsynced and (urgent or self._clock.monotonic_s() - self._synced_at_s >= self._sync_s):
                self.sync()
        except (OSError, RecordingError) as error:
            self._set_trouble(error)
            return False
        if self.trouble is not None:
            self.trouble = None
            self._on_trouble(None)
        return True

    def sync(self) -> None:
        """Force everything written so far to the disk; OSError when the disk refuses."""
        if self._descriptor is not None:
            self._restore_if_deleted(self._descriptor)
            os.fsync(self._descriptor)
        self._unsynced = False
        self._synced_at_s = self._clock.monotonic_s()

    def close(self) -> bool:
        """Write and sync the rest; False when something could not be written (see `trouble`)."""
        written = self.retry(urgent=True)
        self._shut()
        return written

    @property
    def waiting(self) -> int:
        """How many lines wait in memory for the disk."""
        return len(self._waiting)

    @property
    def recorded(self) -> int:
        """How many lines the night has by now, waiting ones included."""
        return self._next_seq

    def _begin(self) -> None:
        """Take up an existing log where it ends, or begin a new one with its header line."""
        try:
            self._open()
        except _ElsewhereError as error:
            self._set_trouble(error)
        except (OSError, RecordingError) as error:
            self._set_trouble(error)
            with contextlib.suppress(OSError, RecordingError):  # a disk that takes nothing still gives
                self._take_up()
        if self._next_seq == 0:
            started = {"format": FORMAT, "version": VERSION, "program": __version__}
            self._append(HEADER_KIND, started, False)
            self.retry()

    def _append(self, kind: str, data: dict[str, Any], urgent: bool) -> int:
        now_s = self._clock.monotonic_s() - self._zero_s
        line = encode_line(LoggedEvent(self._next_seq, now_s, self._clock.utc(), kind, data))
        if self._waiting_bytes + len(line) > MAX_WAITING_BYTES and not urgent:
            self._lost += 1
            return self._next_seq
        if self._lost:
            lost, self._lost = self._lost, 0
            self._append(GAP_KIND, {"events_lost": lost}, True)
            return self._append(kind, data, urgent)
        seq, self._next_seq = self._next_seq, self._next_seq + 1
        self._waiting.append(line)
        self._waiting_bytes += len(line)
        return seq

    def _open(self) -> None:
        """Open the log for appending; what a crash left of its last line is set aside first. OSError if not."""
        if self._descriptor is not None:
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        if not self._lock.take():
            raise _ElsewhereError("another copy of the program is recording this night")
        try:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)
        except OSError:
            self._lock.free()
            raise
        try:
            self._cut(descriptor, self._take_up())
        except BaseException:
            os.close(descriptor)
            self._lock.free()
            raise
        self._descriptor = descriptor
        sync_folder(self.folder)

    def _cut(self, descriptor: int, torn: bytes) -> None:
        """Set the torn end aside, once however often this has to be tried, and take it off the log."""
        if torn and torn != self._set_aside:
            write_atomically(unused_name(self._path, "torn"), torn)
            self._set_aside = torn
        if torn:
            os.ftruncate(descriptor, self._length)

    def _take_up(self) -> bytes:
        """Read the log and stand at its end; what a crash has left of a line behind it."""
        blob = read_regular(self._path, LARGEST_LOG)
        log = parse_night(blob, self._path.name, (EVENT_KIND,))
        self._length = log.sound_bytes
        self._digest = log_digest(blob[: log.sound_bytes])
        if (log.header or log.events) and self._next_seq == 0:
            self.resumed = log
            self.checkpoint = read_checkpoint(self.folder, blob[: log.sound_bytes])
            last = log.last
            if last is not None:
                gap_s = max(0.0, self._clock.utc().seconds_since(last.utc))
                self._zero_s = self._clock.monotonic_s() - last.t_s - gap_s
            self._next_seq = last.seq + 1 if last is not None else 1
        return blob[log.sound_bytes :]

    def _write_waiting(self) -> None:
        """Write lines in order; a line that fits only in part is taken back, so that the file always ends cleanly."""
        descriptor = self._descriptor
        assert descriptor is not None
        while self._waiting:
            line = self._waiting[0]
            os.lseek(descriptor, self._length, os.SEEK_SET)
            try:
                _write_all(descriptor, line)
            except OSError as error:
                with contextlib.suppress(OSError):
                    os.ftruncate(descriptor, self._length)
                if error.errno != errno.ENOSPC and not _is_deleted(descriptor):
                    self._shut()  # a share that has dropped: the old descriptor will not work again
                raise
            self._length += len(line)
            self._digest.update(line)
            self._unsynced = True
            self._waiting_bytes -= len(line)
            self._waiting.popleft()

    def _shut(self) -> None:
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            with contextlib.suppress(OSError):
                os.close(descriptor)
        with contextlib.suppress(OSError):
            self._lock.free()

    def _restore_if_deleted(self, descriptor: int) -> None:
        """Somebody has deleted the log under our hands: what the open file still holds is put back in its place."""
        if not _is_deleted(descriptor):
            return
        os.lseek(descriptor, 0, os.SEEK_SET)
        content = os.read(descriptor, self._length)
        self.folder.mkdir(parents=True, exist_ok=True)
        write_atomically(self._path, content)  # until this has succeeded the open file is all there is
        self._shut()
        self._open()

    def _set_trouble(self, error: OSError | RecordingError) -> None:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error).rstrip(".")
        text = unrecorded(str(self.folder), reason, len(self._waiting))
        changed = self.trouble is None or str(self.trouble.__cause__) != str(error)
        self.trouble = RecordingError(text)
        self.trouble.__cause__ = error
        if changed:
            self._on_trouble(self.trouble)


def _is_deleted(descriptor: int) -> bool:
    """Its file has no name any more: nobody else holds what is in it."""
    try:
        return os.fstat(descriptor).st_nlink == 0
    except OSError:  # a share that has dropped does not say
        return False


class _ElsewhereError(OSError):
    """Another process records this night: it is not ours to take up."""


def _write_all(descriptor: int, line: bytes) -> None:
    view = memoryview(line)
    while view:
        written = os.write(descriptor, view)
        view = view[written:]
