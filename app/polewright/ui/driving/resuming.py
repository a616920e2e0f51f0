"""Whether a night that was left open can be taken up again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.core.night.states import Waiting
from polewright.runtime.course import Course
from polewright.runtime.retrace import EVENT_KIND, retrace_to_the_end
from polewright.services.file_lock import FileLock
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog, read_end, read_opening
from polewright.words import window as words

FIRST_BYTES, FIRST_EVENTS = 1 << 20, 20
STILL_TONIGHT_S = 10.0 * 3600.0


@dataclass(frozen=True)
class Resumable:
    """`fresh`: it can go on. `problem`: why it does not; `over`: nor ever will."""

    folder: Path
    fresh: bool = False
    left_text: str = ""
    problem: str = ""
    over: bool = False


def resumable(folder: Path, now: Utc) -> Resumable:
    """Look at the night in `folder`."""
    if not folder.is_dir():
        return Resumable(folder, problem=words.night_gone(folder.name), over=True)
    lock = FileLock(folder / ".lock")
    try:
        free = lock.take()
    except OSError as error:
        return Resumable(folder, problem=words.night_locked(folder.name, error.strerror or str(error)))
    lock.free()
    if not free:
        return Resumable(folder, problem=words.open_elsewhere(folder.name))
    try:
        last, first = read_end(folder), read_opening(folder, (EVENT_KIND,), FIRST_BYTES).events
    except RecordingError as error:
        return Resumable(folder, problem=f"{error} {words.LEFT_AS_IT_IS}", over=True)
    if last is None or not first:
        return Resumable(folder, problem=words.nothing_recorded(folder.name), over=True)
    if not _begins(first):
        return Resumable(folder, problem=words.no_beginning(folder.name), over=True)
    left_s = now.seconds_since(last.utc)
    if abs(left_s) > STILL_TONIGHT_S:
        return Resumable(folder, problem=words.night_over(folder.name, left_s), over=True)
    return Resumable(folder, True, words.left_for(left_s))  # a clock set back since does not end a night


def _begins(events: Sequence[LoggedEvent]) -> bool:
    """Whether a night can be taken up from its first events: site and target are known."""
    course = Course()
    retrace_to_the_end(course, NightLog({}, tuple(events[:FIRST_EVENTS]), (), 0))
    return not isinstance(course.state, Waiting)
