"""A replay gives out what was recorded, at the pace asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from iso_time import utc_from_iso
from polewright.core.errors import UsageError
from polewright.services.clock import VirtualClock
from polewright.services.night_log import NightLog, read_night
from polewright.services.recorder import NightRecorder
from polewright.services.replayer import Replayer, play

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
def test_events_come_when_they_are_due(log: NightLog, speed: float) -> None:
    clock = VirtualClock(START, start_s=5.0)
    replayer = Replayer(log, clock, speed)
    seen: list[tuple[int, float]] = []
    while not replayer.finished:
        seen += [(event.data["n"], clock.monotonic_s() - 5.0) for event in replayer.due()]
        wait = replayer.wait_s()
        if wait is not None:
            clock.advance(wait + 1e-9)
    assert [number for number, _ in seen] == [0, 1, 2, 3, 4]
    assert [at for _, at in seen] == pytest.approx([moment / speed for moment in MOMENTS], abs=1e-6)
    assert replayer.due() == [] and replayer.wait_s() is None


def test_a_late_caller_gets_all_that_is_due_in_order(log: NightLog) -> None:
    clock = VirtualClock(START)
    replayer = Replayer(log, clock)
    clock.advance(1000.0)
    assert [event.data["n"] for event in replayer.due()] == [0, 1, 2, 3, 4]


def test_pause_step_and_pace(log: NightLog) -> None:
    clock = VirtualClock(START)
    replayer = Replayer(log, clock)
    assert len(replayer.due()) == 1
    replayer.pause()
    clock.advance(100.0)
    assert replayer.due() == [] and replayer.wait_s() is None and replayer.night_s == 0.0
    stepped = replayer.step()
    assert stepped is not None and stepped.data["n"] == 1 and replayer.night_s == 1.5
    replayer.go_on()
    assert [event.data["n"] for event in replayer.due()] == [2]
    clock.advance(10.0)
    assert [event.data["n"] for event in replayer.due()] == [3]
    for bad in (0.0, 0.5, 101.0, float("nan")):
        with pytest.raises(UsageError):
            Replayer(log, clock, bad)
    assert replayer.step() is not None
    assert replayer.step() is None and replayer.finished


def test_all_at_once_on_a_virtual_clock_bit_for_bit(log: NightLog) -> None:
    first = [(event, event.t_s) for event in play(log, VirtualClock(START))]
    clock = VirtualClock(START, start_s=3.0)
    for event, moment in zip(play(log, clock), MOMENTS, strict=True):
        assert clock.monotonic_s() == 3.0 + moment
        assert event.data["x"] == event.data["n"] / 3
    assert [event for event, _ in first] == list(log.events)


def test_an_empty_night_is_over_at_once() -> None:
    empty = NightLog({}, (), (), 0)
    assert Replayer(empty, VirtualClock(START)).finished
    assert list(play(empty, VirtualClock(START))) == []
