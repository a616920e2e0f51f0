"""A replay gives out what was recorded, at the pace asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from iso_time import utc_from_iso
from polewright.commands.replay import at_speed
from polewright.services.clock import VirtualClock
from polewright.services.night_log import NightLog, read_night
from polewright.services.recorder import NightRecorder

START = utc_from_iso("2026-03-01T20:00:00")
MOMENTS = [0.0, 1.5, 1.5, 7.25, 60.0]


@pytest.fixture
def log(tmp_path: Path) -> NightLog:
    clock = VirtualClock(START, start_s=77.0)
    night = NightRecorder(tmp_path, clock)
    for number, moment in enumerate(MOMENTS):
        clock.advance_to(77.0 + moment)
        night.record("frame", {"n": number, "x": number / 3})
    night.close()
    return read_night(tmp_path)


@pytest.mark.parametrize("speed", [1.0, 10.0, 100.0])
def test_lines_come_when_they_are_due_bit_for_bit(log: NightLog, speed: float) -> None:
    clock = VirtualClock(START, start_s=5.0)
    seen = [
        (line, clock.monotonic_s() - 5.0) for line in at_speed(log.events, speed, clock.monotonic_s, clock.advance)
    ]
    assert [line for line, _ in seen] == list(log.events)
    assert [line.data["x"] for line, _ in seen] == [n / 3 for n in range(5)]
    assert [at for _, at in seen] == pytest.approx([moment / speed for moment in MOMENTS], abs=1e-6)


def test_a_late_caller_gets_all_that_is_due_in_order_and_at_once(log: NightLog) -> None:
    clock, waits = VirtualClock(START), list[float]()
    lines = at_speed(log.events, 1.0, clock.monotonic_s, waits.append)
    next(lines)
    clock.advance(1000.0)
    assert [line.data["n"] for line in lines] == [1, 2, 3, 4]
    assert waits == [0.0] * 5


def test_an_empty_night_is_over_at_once() -> None:
    clock = VirtualClock(START)
    assert list(at_speed((), 1.0, clock.monotonic_s, clock.advance)) == []
