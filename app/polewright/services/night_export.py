"""A night's measurements as CSV and JSON, for other programs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from polewright.core.sky.timescales import iso_text
from polewright.services.log_format import LoggedEvent, to_json_ready

COMMON = ("seq", "t_s", "utc", "kind")


def export_json(events: Iterable[LoggedEvent], kinds: Collection[str]) -> str:
    """A JSON array with one object for each event of `kinds`, in order; numbers unrounded."""
    rows = [{**_common(event), **event.data} for event in events if event.kind in kinds]
    return json.dumps(to_json_ready(rows), indent=1, allow_nan=False) + "\n"


def export_csv(events: Iterable[LoggedEvent], kinds: Collection[str]) -> str:
    """A table (RFC 4180) with one row for each event of `kinds`.

    Nested values become columns with dotted names; long lists (star lists) are left out, the log has them. A text
    that a spreadsheet would take for a formula (a file name, say) gets an apostrophe in front.
    """
    rows = [_cells({**_common(event), **flattened(event.data)}) for event in events if event.kind in kinds]
    columns = list(dict.fromkeys([*COMMON, *(name for row in rows for name in row)]))
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def _cells(row: Mapping[str, Any]) -> dict[str, Any]:
    return {_harmless(name): _harmless(value) if isinstance(value, str) else value for name, value in row.items()}


def _harmless(text: str) -> str:
    """A text no spreadsheet runs, that UTF-8 can hold (names of files may hold what it cannot)."""
    text = text.encode("utf-8", "replace").decode("utf-8")
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def _common(event: LoggedEvent) -> dict[str, Any]:
    return {"seq": event.seq, "t_s": event.t_s, "utc": iso_text(event.utc), "kind": event.kind}


def flattened(data: Mapping[str, Any], prefix: str = "", longest: int = 9) -> dict[str, Any]:
    """Nested mappings and short lists as one level of dotted names."""
    flat: dict[str, Any] = {}
    for name, value in data.items():
        if isinstance(value, Mapping):
            flat.update(flattened(value, f"{prefix}{name}.", longest))
        elif isinstance(value, (list, tuple)):
            if len(value) <= longest:
                flat.update(flattened({str(i): item for i, item in enumerate(value)}, f"{prefix}{name}.", longest))
        else:
            flat[prefix + name] = value
    return flat
