"""Records that somebody edited or a disk mixed up: taken up as far as they go, or left with a sentence about it."""

from __future__ import annotations

import json
import lzma
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostile_records import lines_of, record_of
from iso_time import utc_from_iso
from polewright.__main__ import main
from polewright.core.model import Utc
from polewright.core.night.states import Running
from polewright.runtime.course import Course
from polewright.runtime.retrace import EVENT_KIND, retrace_to_the_end
from polewright.services.clock import VirtualClock
from polewright.services.night_log import NightLog, parse_night, read_end, read_night
from polewright.services.recorder import NightRecorder
from polewright.ui.driving.resuming import Resumable, resumable

NIGHT = Path(__file__).resolve().parents[1] / "data" / "nights" / "calm.jsonl.xz"
Lines = list[dict[str, Any]]


@pytest.fixture(scope="module")
def lines() -> Lines:
    whole = lines_of(lzma.decompress(NIGHT.read_bytes()))
    return [line for line in whole if line["kind"] != "frame"][:150]


def renumbered(lines: Lines) -> Lines:
    return [{**line, "seq": number} for number, line in enumerate(json.loads(json.dumps(lines)))]


def log_of(lines: Lines) -> NightLog:
    return parse_night(record_of(lines), "night.jsonl")


def course_of(log: NightLog) -> Course:
    course = Course()
    retrace_to_the_end(course, log)
    return course


def kept(folder: Path, lines: Lines) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "night.jsonl").write_bytes(record_of(lines))
    return folder


def first_of(lines: Lines, kind: str) -> int:
    return next(i for i, line in enumerate(lines) if line["data"].get("kind") == kind)


@pytest.mark.parametrize("poison", [float("inf"), float("nan"), 1e300, "x", None, [], {"kind": "nothing"}])
@pytest.mark.parametrize(("kind", "field"), [("AxisMeasured", "axis"), ("FrameSolved", "frame"), ("Ticked", "at_s")])
def test_a_damaged_event_costs_itself_alone(lines: Lines, kind: str, field: str, poison: Any) -> None:
    sound, spoiled = renumbered(lines), renumbered(lines)
    where = first_of(spoiled, kind)
    if field == "axis" and not isinstance(poison, str | list | dict | None.__class__):
        spoiled[where]["data"]["axis"]["east_rad"] = poison
    else:
        spoiled[where]["data"][field] = poison
    without = [line for line in sound if line["seq"] != where]
    assert course_of(log_of(spoiled)).state == course_of(log_of(without)).state


def test_lines_that_are_missing_or_double_are_told(
    lines: Lines, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sound = renumbered(lines)
    cases: dict[str, tuple[Lines, str]] = {
        "deleted": (sound[:10] + sound[12:], "Before line 11 of night.jsonl 2 lines are missing"),
        "one": (sound[:10] + sound[11:], "Before line 11 of night.jsonl a line is missing"),
        "double": (sound[:10] + sound[9:], "Line 11 of night.jsonl is out of place"),
        "moved": ([*sound[:5], sound[9], *sound[5:9], *sound[10:]], "out of place"),
    }
    assert log_of(sound).whole and not log_of(sound).problems
    for name, (spoiled, words) in cases.items():
        log = log_of(spoiled)
        assert not log.whole and any(words in problem for problem in log.problems), name
        assert main(["replay", str(kept(tmp_path / name, spoiled))]) == 3
        said = capsys.readouterr().out
        assert "The record is not whole" in said and words in said


def test_a_record_of_which_nothing_is_missing_is_whole(lines: Lines) -> None:
    assert log_of(renumbered(lines)).whole
    assert not log_of(renumbered(lines)[:4] + renumbered(lines)[5:]).whole


def test_a_damaged_line_is_no_missing_one(lines: Lines) -> None:
    blob = record_of(renumbered(lines)).splitlines(keepends=True)
    blob[7] = b"x" + blob[7]
    log = parse_night(b"".join(blob), "night.jsonl")
    assert not log.whole and list(log.problems) == ["Line 8 of night.jsonl is damaged and left out."]


def test_skimming_a_log_finds_the_same_events_and_problems(lines: Lines) -> None:
    whole = lines_of(lzma.decompress(NIGHT.read_bytes()))[:60]
    for blob in (record_of(whole), record_of(whole)[:-40], record_of(whole[:20] + whole[25:])):
        full, skimmed = parse_night(blob, "n"), parse_night(blob, "n", (EVENT_KIND,))
        assert [e for e in skimmed.events if e.kind == EVENT_KIND] == [e for e in full.events if e.kind == EVENT_KIND]
        assert [(e.seq, e.t_s, e.utc, e.kind) for e in skimmed.events] == [
            (e.seq, e.t_s, e.utc, e.kind) for e in full.events
        ]
        assert (skimmed.header, skimmed.problems, skimmed.sound_bytes) == (
            full.header,
            full.problems,
            full.sound_bytes,
        )


def test_the_end_is_found_without_reading_the_rest(lines: Lines, tmp_path: Path) -> None:
    folder = kept(tmp_path, renumbered(lines))
    path = folder / "night.jsonl"
    path.write_bytes(path.read_bytes() + b'{"seq":99,"torn')
    last, end = read_night(folder).last, read_end(folder)
    assert last is not None and end is not None
    assert (end.seq, end.t_s, end.utc, end.kind) == (last.seq, last.t_s, last.utc, last.kind)


# why a night goes on, or does not


def looked_at(folder: Path, later_s: float) -> Resumable:
    end = read_end(folder)
    return resumable(
        folder, (end.utc if end is not None else utc_from_iso("2026-03-01T20:00:00")).plus_seconds(later_s)
    )


@pytest.mark.parametrize(
    ("later_s", "fresh", "words"),
    [
        (600.0, True, "10 min later"),
        (-3600.0, True, "clock set back"),
        (11 * 3600.0, False, "it is over"),
        (-11 * 3600.0, False, "still to come"),
    ],
)
def test_a_night_goes_on_or_says_why_not(
    lines: Lines, tmp_path: Path, later_s: float, fresh: bool, words: str
) -> None:
    found = looked_at(kept(tmp_path / "night", renumbered(lines)), later_s)
    assert found.fresh is fresh and words in (found.left_text if fresh else found.problem)


def without_beginning(lines: Lines) -> Lines:
    spoiled = renumbered(lines)
    del spoiled[first_of(spoiled, "NightStarted")]["data"]["site"]
    return spoiled


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (without_beginning, "damaged where it begins"),
        (lambda lines: lines[:1], "recorded nothing"),
        (lambda lines: [], "recorded nothing"),
    ],
)
def test_a_night_that_cannot_go_on_says_why(
    lines: Lines, tmp_path: Path, spoil: Callable[[Lines], Lines], words: str
) -> None:
    found = looked_at(kept(tmp_path / "night", spoil(renumbered(lines))), 60.0)
    assert not found.fresh and found.over and words in found.problem


def test_a_night_that_is_gone_says_so(tmp_path: Path) -> None:
    found = resumable(tmp_path / "gone", Utc(2461100.5, 0.0))
    assert not found.fresh and "no longer there" in found.problem


def test_a_spoiled_night_is_taken_up_and_goes_on(lines: Lines, tmp_path: Path) -> None:
    spoiled = renumbered(lines)
    spoiled[first_of(spoiled, "AxisMeasured")]["data"]["axis"] = None
    recorder = NightRecorder(kept(tmp_path / "night", spoiled), VirtualClock(utc_from_iso("2026-11-29T20:00:00")))
    assert recorder.resumed is not None and isinstance(course_of(recorder.resumed).state, Running)
    assert recorder.record("event", {"kind": "Ticked", "at_s": 1.0}) == len(spoiled)
    assert recorder.close()


def test_one_bad_night_does_not_break_the_report_of_another(
    lines: Lines, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("polewright.commands.report._picture", lambda svg: svg)
    folder = kept(tmp_path / "good", renumbered(lines))
    spoiled = renumbered(lines)
    spoiled[first_of(spoiled, "NightStarted")]["data"]["site"]["elev_m"] = -1e9
    kept(tmp_path / "bad", spoiled)
    assert main(["report", str(folder)]) == 0
    assert "Traceback" not in capsys.readouterr().err


def test_the_record_of_a_night_is_private(tmp_path: Path) -> None:
    NightRecorder(tmp_path / "night", VirtualClock(utc_from_iso("2026-03-01T20:00:00"))).close()
    assert stat.S_IMODE((tmp_path / "night" / "night.jsonl").stat().st_mode) == 0o600
