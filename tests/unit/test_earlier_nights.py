"""What earlier nights with a rig say, on the page where the mount is stood up; and shifts in the record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from night_kit import MemoryRecorder, engine_of, unsolved_frame
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import AnyEvent, AxisMeasured, NightStarted, Ticked
from polewright.core.night.states import begun
from polewright.core.plain import to_plain
from polewright.services import night_log
from polewright.services.clock import VirtualClock
from polewright.services.log_format import LoggedEvent, decode_line
from polewright.services.night_log import read_night
from polewright.services.recorder import NightRecorder
from polewright.services.report import earlier
from polewright.services.report.earlier import earlier_nights
from polewright.services.report.facts import VIGIL_KIND, gather
from polewright.services.report.told import shift_record_words
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.stand import stand_page
from vigil_nights import Run, setup_of, sudden
from watch_night import aligned_events, imaging_events, run_through

START = Utc(2461000.5, 0.3)
RUN = Run(fields=((-2.0, 35.0, 0.45),), clouds_per_night=0, gusts=0.0)


def record(folder: Path, events: list[AnyEvent], beside: tuple[str, dict[str, Any]] | None = None) -> None:
    """Record a night; `beside` is a line more for every event."""
    clock = VirtualClock(START)
    recorder = NightRecorder(folder, clock)
    for event in events:
        clock.advance(event.at_s - clock.monotonic_s())
        if beside is not None:
            recorder.record(*beside)
        recorder.record("event", to_plain(event))
    recorder.close()


def a_night(rig: str, east_arcmin: float, up_arcmin: float) -> list[AnyEvent]:
    """The aligned night, begun that far off the pole."""

    def changed(event: AnyEvent) -> AnyEvent:
        if isinstance(event, NightStarted):
            return replace(event, rig=rig)
        if isinstance(event, AxisMeasured):
            east, up = east_arcmin / ARCMIN_PER_RAD, up_arcmin / ARCMIN_PER_RAD
            return replace(event, axis=replace(event.axis, east_rad=east, up_rad=up))
        return event

    return [changed(event) for event in aligned_events()]


def test_the_next_night_with_the_rig_is_told_where_to_set_the_mount_down(tmp_path: Path) -> None:
    """Starts 40' east and 24' low on the sky at latitude 47: 40' / cos(47 deg) = 59' along the horizon."""
    for number, (east, up) in enumerate([(39.0, -23.0), (41.0, -25.0), (40.0, -24.0)]):
        record(tmp_path / f"2026-03-0{number + 1}", a_night("short tube", east, up))
    record(tmp_path / "2026-03-04", a_night("another tube", -90.0, 90.0))
    tonight = tmp_path / "2026-03-05"
    told = earlier_nights(tmp_path, tonight, "short tube")
    assert told is not None and told.nights == 3
    assert "59′ further west" in told.words and "24′ higher" in told.words
    assert "1 min" in told.words, "accepted 60 s after the beginning"
    assert earlier_nights(tmp_path, tonight, "another tube") is None, "one night is no habit"
    state, _ = run_through(a_night("short tube", 0.0, 0.0)[:1])
    page = stand_page(begun(state), Extras(0.0, earlier=told))
    assert page is not None and page.facts[-1].words == told.words
    plain = stand_page(begun(state), Extras(0.0))
    assert plain is not None and len(plain.facts) == len(page.facts) - 1


def test_of_a_long_night_the_beginning_is_read_and_says_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hours of imaging follow: frames with their stars, ticks, and at the end a night begun anew from elsewhere."""
    stars = {"stars": {"x": [123.456] * 8000}}
    for number, (east, up) in enumerate([(39.0, -23.0), (41.0, -25.0)]):
        events = a_night("short tube", east, up)
        record(tmp_path / "short" / f"2026-03-0{number + 1}", events)
        imaging = [Ticked(100.0 + at_s) for at_s in range(400)]
        after = [replace(event, at_s=event.at_s + 500.0) for event in a_night("another tube", 0.0, 0.0)]
        record(tmp_path / "long" / f"2026-03-0{number + 1}", [*events, *imaging, *after], ("frame", stars))
    decoded: list[int] = []
    real = decode_line

    def decode(line: bytes) -> LoggedEvent | None:
        decoded.append(len(line))
        return real(line)

    monkeypatch.setattr(night_log, "decode_line", decode)
    monkeypatch.setattr(earlier, "MOST_BYTES", 50_000)
    short, long = (earlier_nights(tmp_path / name, tmp_path / "none", "short tube") for name in ("short", "long"))
    assert short is not None and short == long
    assert max(decoded) < 5000, "no frame's stars are parsed"
    assert sum(decoded) < 4 * 55_000, "of each night no more than its share"


def test_the_opening_of_a_night_is_the_whole_of_a_short_one(tmp_path: Path) -> None:
    record(tmp_path, a_night("short tube", 40.0, -24.0), ("frame", {"kind": "event"}))
    whole, opening = read_night(tmp_path), night_log.read_opening(tmp_path, ("event",), 1 << 20)
    assert opening.events == tuple(line for line in whole.events if line.kind == "event") != whole.events
    assert opening.header == whole.header and opening.problems == ()
    with pytest.raises(RecordingError, match="cannot be read"):
        night_log.read_opening(tmp_path / "gone", ("event",), 1 << 20)


def test_a_damaged_night_among_them_is_passed_over(tmp_path: Path) -> None:
    for number in range(2):
        record(tmp_path / f"2026-03-0{number + 1}", a_night("short tube", 40.0, -24.0))
    (tmp_path / "2026-03-03").mkdir()
    (tmp_path / "2026-03-03" / "night.jsonl").write_text("no log\n", encoding="utf-8")
    told = earlier_nights(tmp_path, tmp_path / "2026-03-04", "short tube")
    assert told is not None and told.nights == 2


def test_a_night_begun_by_an_older_version_has_no_rig() -> None:
    plain = to_plain(aligned_events()[0])
    del plain["rig"]
    event = event_from_plain(plain)
    assert isinstance(event, NightStarted) and event.rig == ""


def test_a_shift_is_written_into_the_record_and_told_in_the_report(tmp_path: Path) -> None:
    import numpy as np

    from vigil_nights import declination_axis

    axis = setup_of(Run(), np.random.default_rng(1))[1]
    base = sudden(900.0, 30.0 * declination_axis(axis, -1.75, 35.0))
    recorder = MemoryRecorder()
    started, *events = aligned_events()
    engine = engine_of(lambda path: unsolved_frame(), recorder, started=started)
    for event in [*events, *imaging_events(RUN, base)]:
        engine.post(event)
    (data,) = [data for kind, data in recorder.lines if kind == VIGIL_KIND]
    assert data["sudden"] and data["size_rad"] * 206265.0 == pytest.approx(30.0, abs=1.5)
    assert data["onset_s"] == pytest.approx(1500.0, abs=20.0), "the night's own time"
    clock = VirtualClock(START)
    night = NightRecorder(tmp_path / "n", clock)
    for kind, line in recorder.lines:
        if kind in ("event", VIGIL_KIND):
            night.record(kind, line)
    night.close()
    facts = gather(read_night(tmp_path / "n"), "n")
    (shift,) = facts.shifts
    assert "was moved by at least 30″" in shift_record_words(shift)
    assert facts.frames_solved == 3 + sum(1 for _ in imaging_events(RUN, base))
    assert facts.accepted and facts.final is not None
