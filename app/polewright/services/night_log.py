"""Reading a night's log: every sound line, and what was wrong with the others; or the beginning of it alone.

Decided 2026-11-25. One night, one log. Every event is a line with number and checksum, written before it acts; the
state is a pure function of the events. Resume, replay, training and bug reports are one mechanism. Saving the state
in their place was rejected: it ages with every change of a class. A checkpoint beside the log only saves time: it is
believed from the same code over the same bytes, and else the log is gone through (services/checkpoint.py).
"""

from __future__ import annotations

import io
import re
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from polewright.core.errors import RecordingError
from polewright.services.log_format import FORMAT, HEADER_KIND, VERSION, LoggedEvent, decode_line, skim_line
from polewright.services.log_migration import all_migrated
from polewright.services.regular_file import open_regular, read_regular
from polewright.words import files

LOG_NAME = "night.jsonl"
REHEARSED_NIGHT = "night"  # beside the frames of a rehearsal that was kept
# its first find in a line is the line's own kind: only numbers stand before it
KIND = re.compile(rb'"kind":"([^"]*)"')
HEAD_BYTES, LONGEST_LINE = 200, 16 << 20  # where the kind of a line stands; and longer lines are damage
TAIL_BYTES = 4 << 20  # read to find the last whole line: four of the largest frames
LARGEST_LOG = 2 << 30  # two hundred long nights


@dataclass(frozen=True)
class NightLog:
    """A night as recorded. `header` is the data of the first line; `events` are all others that are sound.

    `sound_bytes`: up to where the file consists of whole lines; what follows is a line torn by a crash.
    """

    header: dict[str, Any]
    events: tuple[LoggedEvent, ...]
    problems: tuple[str, ...]
    sound_bytes: int
    whole: bool = True  # no line is missing, double or out of its place

    @property
    def last(self) -> LoggedEvent | None:
        return self.events[-1] if self.events else None


def night_folder(path: Path) -> Path:
    """The folder of the night that `path` names: itself, that of its log, or `night` in a kept rehearsal."""
    if not path.is_dir():
        return path.parent
    inner = path / REHEARSED_NIGHT
    return inner if not (path / LOG_NAME).exists() and (inner / LOG_NAME).exists() else path


def read_night(path: Path) -> NightLog:
    """The log at `path` (the file, or the folder of the night); RecordingError when it is none at all."""
    path = night_folder(path) / LOG_NAME if path.is_dir() else path
    try:
        blob = read_regular(path, LARGEST_LOG)
    except OSError as error:
        raise _unreadable(path, error) from error
    log = parse_night(blob, path.name)
    if not log.header and not log.events:
        raise RecordingError(f"{path.name} contains no night: give the folder of a recorded one, or its {LOG_NAME}.")
    return log


def read_opening(path: Path, kinds: Collection[str], most_bytes: int) -> NightLog:
    """The first lines of these kinds, `most_bytes` of them in all; RecordingError as in `read_night`.

    Nine tenths of a log are the stars of its frames: lines of other kinds are passed over unread.
    """
    path = path / LOG_NAME if path.is_dir() else path
    wanted = {kind.encode() for kind in (*kinds, HEADER_KIND)}
    lines: list[bytes] = []
    taken = 0
    try:
        with io.BufferedReader(open_regular(path)) as file:
            while taken < most_bytes and (line := file.readline(LONGEST_LINE)):
                found = KIND.search(line, 0, HEAD_BYTES)
                if found is not None and found[1] in wanted:
                    lines.append(line)
                    taken += len(line)
    except OSError as error:
        raise _unreadable(path, error) from error
    return replace(parse_night(b"".join(lines), path.name), problems=())  # of course lines are missing


def _unreadable(path: Path, error: OSError) -> RecordingError:
    return RecordingError(f"The night in {path} cannot be read: {error.strerror or error}.")


def read_end(path: Path) -> LoggedEvent | None:
    """The last sound line of a log, found from its end; None without one. RecordingError as in `read_night`."""
    path = path / LOG_NAME if path.is_dir() else path
    try:
        with open_regular(path) as file:
            file.seek(max(0, path.stat().st_size - TAIL_BYTES))
            tail = file.read(TAIL_BYTES) or b""
    except OSError as error:
        raise _unreadable(path, error) from error
    lines = (skim_line(line, ()) for line in reversed(tail.splitlines()))
    return next((line for line in lines if line is not None), None)


def parse_night(blob: bytes, name: str, wanted: Collection[str] | None = None) -> NightLog:
    """The log in `blob`. Damaged lines are left out and named; a torn end is left out.

    `wanted`: kinds whose data are needed, those of the others are left empty; None for all.
    """
    kinds = None if wanted is None else {*wanted, HEADER_KIND}
    events: list[LoggedEvent] = []
    problems: list[str] = []
    sound_bytes = offset = number = 0
    damaged: list[int] = []
    expected, whole = -1, True
    while (end := blob.find(b"\n", offset)) >= 0:
        number += 1
        event = decode_line(blob[offset:end]) if kinds is None else skim_line(blob[offset:end], kinds)
        offset = end + 1
        if event is None:
            damaged.append(number)
            continue
        problems += [files.damaged_line(line, name) for line in damaged]
        expected += len(damaged) + 1
        if event.seq != expected:
            problems.append(files.misplaced_line(number, name, event.seq - expected))
        whole = whole and not damaged and event.seq == expected
        expected = event.seq
        damaged.clear()
        sound_bytes = offset
        events.append(event)
    if sound_bytes < len(blob):
        problems.append(files.torn_end(len(blob) - sound_bytes, name))
    header = _header(events, name) if events else {}
    current = all_migrated(event for event in events if event.kind != HEADER_KIND)
    return NightLog(header, current, tuple(problems), sound_bytes, whole)


def _header(events: list[LoggedEvent], name: str) -> dict[str, Any]:
    header = events[0].data if events[0].kind == HEADER_KIND else {}
    if header and (header.get("format") != FORMAT or not isinstance(header.get("version"), int)):
        raise RecordingError(f"{name} was not written by this program.")
    if header and header["version"] > VERSION:
        raise RecordingError(f"{name} was written by a newer version of this program: update to read it.")
    return header
