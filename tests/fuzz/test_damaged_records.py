"""Damaged records: report, replay and resuming give a documented answer, never a traceback.

The default is a few seconds; POLEWRIGHT_FUZZ_RECORDS=20000 sets the number of records for a long run.
"""

from __future__ import annotations

import contextlib
import io
import json
import lzma
import math
import os
import random
import traceback
from pathlib import Path
from typing import Any

import pytest

from hostile_records import damaged, lines_of, record_of
from polewright.__main__ import main
from polewright.core.errors import RecordingError
from polewright.core.plain import to_plain
from polewright.core.vigil.watch import Part, Shift
from polewright.runtime.course import Course
from polewright.runtime.retrace import retrace_to_the_end
from polewright.services.night_log import read_night
from polewright.services.report.facts import DRIFT_KIND, VIGIL_KIND

RECORDS = int(os.environ.get("POLEWRIGHT_FUZZ_RECORDS", "20"))
SEED = int(os.environ.get("POLEWRIGHT_FUZZ_SEED", "1"))
LINES = 60
NIGHTS = Path(__file__).resolve().parents[1] / "data" / "nights"


def outcome(arguments: list[str]) -> tuple[int, str]:
    """Exit code and what was said."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        return main(arguments), said.getvalue()


HUGE = 10**400
DRIFT_FAULTS: tuple[dict[str, Any], ...] = (
    {"covariance_rad2": [[1], [2]]},
    {"covariance_rad2": [["x", 1], [1, 1]]},
    {"covariance_rad2": [["x", 1]]},
    {"covariance_rad2": [HUGE, HUGE]},
    {"covariance_rad2": [[HUGE, 0.0], [0.0, HUGE]]},
    {"covariance_rad2": [[math.nan, 0.0], [0.0, -math.inf]]},
    {"east_rad": HUGE, "up_rad": -HUGE},
    {"east_rad": 1e308, "up_rad": "x", "t_s": True},
    {"t_s": HUGE},
    {"t_s": math.nan, "unknown": HUGE, "warnings": [HUGE], "comparison": [[1], [2]]},
)
SOUND_DRIFT = {"east_rad": 1e-4, "up_rad": -2e-5, "covariance_rad2": [[1e-10, 0.0], [0.0, 1e-10]]}
SOUND_SHIFT = to_plain(Shift(True, Part.DECLINATION, 60.0, 180.0, 3e-5, 0.0, 5e-6, 0.0, 3e-5))


def told_apart(lines: list[dict[str, Any]], kind: str, data: dict[str, Any]) -> list[dict[str, Any]]:
    """The lines, and one more of a proof by drift or of a shift in the watch."""
    return [*lines, {**lines[-1], "seq": lines[-1]["seq"] + 1, "kind": kind, "data": data}]


@pytest.mark.parametrize("kind", [DRIFT_KIND, VIGIL_KIND])
@pytest.mark.parametrize("fault", DRIFT_FAULTS, ids=lambda fault: str(fault)[:40])
def test_a_damaged_line_of_the_drift_costs_no_report(
    fault: dict[str, Any], kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("polewright.commands.report._picture", lambda svg: svg)
    (tmp_path / "night.jsonl").write_bytes(record_of(told_apart(beginnings()[0], kind, {**SOUND_DRIFT, **fault})))
    code, said = outcome(["report", str(tmp_path), "--json", "--alone"])
    assert code == 0, said
    page = (tmp_path / "report" / "report.html").read_text(encoding="utf-8")
    assert "Proof by drift" in page  # the part of the page that has both


def beginnings() -> list[list[dict[str, Any]]]:
    """What happened first in each of the recorded nights; the stars of the frames would hide it."""
    nights = (lines_of(lzma.decompress(path.read_bytes())) for path in sorted(NIGHTS.glob("*.jsonl.xz")))
    begun = [[line for line in night if line["kind"] != "frame"][:LINES] for night in nights]
    return [told_apart(told_apart(night, DRIFT_KIND, SOUND_DRIFT), VIGIL_KIND, SOUND_SHIFT) for night in begun]


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
