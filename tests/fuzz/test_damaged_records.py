"""Damaged records: report, replay and resuming give a documented answer, never a traceback.

The default is a few seconds; POLEWRIGHT_FUZZ_RECORDS=20000 sets the number of records for a long run.
"""

from __future__ import annotations

import contextlib
import io
import json
import lzma
import os
import random
import traceback
from pathlib import Path
from typing import Any

import pytest

from hostile_records import damaged, lines_of, record_of
from polewright.__main__ import main
from polewright.core.errors import RecordingError
from polewright.runtime.course import Course
from polewright.runtime.retrace import retrace_to_the_end
from polewright.services.night_log import read_night

RECORDS = int(os.environ.get("POLEWRIGHT_FUZZ_RECORDS", "20"))
SEED = int(os.environ.get("POLEWRIGHT_FUZZ_SEED", "1"))
LINES = 60
NIGHTS = Path(__file__).resolve().parents[1] / "data" / "nights"


def outcome(arguments: list[str]) -> tuple[int, str]:
    """Exit code and what was said."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        return main(arguments), said.getvalue()


def beginnings() -> list[list[dict[str, Any]]]:
    """What happened first in each of the recorded nights; the stars of the frames would hide it."""
    nights = (lines_of(lzma.decompress(path.read_bytes())) for path in sorted(NIGHTS.glob("*.jsonl.xz")))
    return [[line for line in night if line["kind"] != "frame"][:LINES] for night in nights]


def test_damaged_records_are_answered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("polewright.commands.report._picture", lambda svg: svg)  # Qt draws the same each time
    nights, rng = beginnings(), random.Random(SEED)
    bad = []
    for number in range(RECORDS):
        lines = damaged(rng.choice(nights), rng)
        folder = tmp_path / "night"
        folder.mkdir(exist_ok=True)
        (folder / "night.jsonl").write_bytes(record_of(lines))
        for arguments in (["report", str(folder), "--json", "--alone"], ["replay", str(folder), "--json"]):
            try:
                code, said = outcome(arguments)
                assert code in (0, 3, 4), said
                for text in said.splitlines():
                    if text.startswith("{"):
                        json.loads(text, parse_constant=pytest.fail)
                page = folder / "report" / "report.html"
                assert not page.exists() or "<script>alert" not in page.read_text(encoding="utf-8")
            except Exception:
                bad.append(f"{number} {arguments[0]}: {traceback.format_exc(limit=-4)}")
        try:
            retrace_to_the_end(Course(), read_night(folder))
        except RecordingError:
            pass
        except Exception:
            bad.append(f"{number} resume: {traceback.format_exc(limit=-4)}")
    assert not bad, f"{len(bad)}:\n" + "\n".join(bad[:12])
