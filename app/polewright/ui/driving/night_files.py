"""What is written beside a recorded night for other programs."""

from __future__ import annotations

from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.services.atomic_file import write_atomically
from polewright.services.night_export import export_csv, export_json
from polewright.services.night_log import read_night

KINDS = ("event", "frame")


def export_night(folder: Path) -> tuple[Path, Path]:
    """Write the night in `folder` as a table and as JSON beside its record; RecordingError when that fails."""
    events = read_night(folder).events
    table, members = folder / "night.csv", folder / "night.json"
    try:
        write_atomically(table, export_csv(events, KINDS).encode("utf-8"))
        write_atomically(members, export_json(events, KINDS).encode("utf-8"))
    except OSError as error:
        raise RecordingError(f"The night cannot be exported to {folder}: {error.strerror or error}.") from error
    return table, members
