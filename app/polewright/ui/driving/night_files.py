"""What is written beside a recorded night for other programs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.services.atomic_file import write_atomically
from polewright.services.log_format import LoggedEvent
from polewright.services.night_export import export_csv, export_json
from polewright.services.night_log import read_night
from polewright.ui.driving.replay_track import StoppedError

KINDS = ("event", "frame")


def export_night(folder: Path, wanted: Callable[[], bool] = lambda: True) -> tuple[Path, Path]:
    """Write the night in `folder` as a table and as JSON beside its record; RecordingError when that fails,
    StoppedError, with nothing written, once `wanted` is not so."""
    events = read_night(folder).events
    as_table, as_members = (text(_while(wanted, events), KINDS) for text in (export_csv, export_json))
    table, members = folder / "night.csv", folder / "night.json"
    try:
        write_atomically(table, as_table.encode("utf-8"))
        write_atomically(members, as_members.encode("utf-8"))
    except OSError as error:
        raise RecordingError(f"The night cannot be exported to {folder}: {error.strerror or error}.") from error
    return table, members


def _while(wanted: Callable[[], bool], events: Iterable[LoggedEvent]) -> Iterator[LoggedEvent]:
    for event in events:
        if not wanted():
            raise StoppedError
        yield event
