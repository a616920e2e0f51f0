"""Whether a night that was left open can be taken up again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.services.file_lock import FileLock
from polewright.services.night_log import read_night
from polewright.words.numbers import duration_text
from polewright.words.window import open_elsewhere

STILL_TONIGHT_S = 10.0 * 3600.0


@dataclass(frozen=True)
class Resumable:
    """`fresh`: it can go on. `problem`: it could, but something is in the way."""

    folder: Path
    fresh: bool = False
    left_text: str = ""
    problem: str = ""


def resumable(folder: Path, now: Utc) -> Resumable:
    """Look at the night in `folder`."""
    if not folder.is_dir():
        return Resumable(folder)
    lock = FileLock(folder / ".lock")
    try:
        free = lock.take()
    except OSError:
        return Resumable(folder)
    lock.free()
    if not free:
        return Resumable(folder, problem=open_elsewhere(folder.name))
    try:
        last = read_night(folder).last
    except RecordingError as error:
        return Resumable(folder, problem=str(error))
    if last is None:
        return Resumable(folder)
    left_s = now.seconds_since(last.utc)
    return Resumable(folder, 0.0 <= left_s <= STILL_TONIGHT_S, duration_text(left_s))
