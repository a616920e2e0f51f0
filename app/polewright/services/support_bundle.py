"""A bundle for a bug report: one ZIP file of texts that a person can look through before sending it."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path

from polewright.core.errors import RecordingError, UsageError
from polewright.services.atomic_file import write_atomically
from polewright.services.log_format import LoggedEvent, to_json_ready
from polewright.services.night_folders import recorded_nights
from polewright.services.night_log import read_night
from polewright.services.privacy import Privacy

TAIL_EVENTS = 300  # chosen: the last minutes of a night
READ_ME = """\
What this program says about itself, for a bug report. Every file is plain text: look through it before you send it.

doctor.txt    what is well and what needs a cure
doctor.json   the same for a program, with the versions of everything
program.log   the last part of the program's log, faults included
night.jsonl   the last events of the last night, one JSON object a line
"""
PRIVATE = (
    "\nWhere the mount stands, names, paths, stars and times of frames have been left out. If the fault concerns\n"
    "them, make the bundle again with --with-location.\n"
)
OPEN = "\nIt was made with --with-location: it says where the mount stands and what your folders are called.\n"


def night_tail(nights: Path, privacy: Privacy | None, count: int = TAIL_EVENTS) -> str:
    """The last events of the last night as lines of JSON; with `privacy` only what is harmless."""
    found = recorded_nights(nights)
    if not found:
        return ""
    try:
        log = read_night(found[0])
    except RecordingError as error:
        return json.dumps({"unreadable": privacy.text(str(error)) if privacy else str(error)}) + "\n"
    return "".join(json.dumps(_line(event, privacy)) + "\n" for event in log.events[-count:])


def _line(event: LoggedEvent, privacy: Privacy | None) -> dict[str, object]:
    data = to_json_ready(event.data)
    line: dict[str, object] = {"seq": event.seq, "t": event.t_s, "kind": event.kind}
    if privacy is None:
        return {**line, "utc": [event.utc.jd1, event.utc.jd2], "data": data}
    return {**line, "data": privacy.recorded(data)}


def write_bundle(path: Path, texts: Mapping[str, str], with_location: bool) -> None:
    """Pack `texts`, by file name, with a word on what they are. UsageError when `path` cannot be written."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("READ-ME.txt", READ_ME + (OPEN if with_location else PRIVATE))
        for name, text in texts.items():
            bundle.writestr(name, text)
    try:
        write_atomically(path, stream.getvalue())
    except OSError as error:
        raise UsageError(f"{path} cannot be written ({error.strerror or error}): choose another place.") from error
