"""The virtual clock runs what is due, in order, at its own moment."""

from __future__ import annotations

import pytest

from iso_time import utc_from_iso
from polewright.services.clock import SystemClock, VirtualClock

START = utc_from_iso("2026-03-01T20:00:00")


def test_actions_run_in_order_and_new_ones_are_included() -> None:
    clock = VirtualClock(START)
    seen: list[tuple[str, float]] = []

    def first() -> None:
        seen.append(("first", clock.monotonic_s()))
        clock.after(0.5, lambda: seen.append(("child", clock.monotonic_s())))

    clock.after(2.0, lambda: seen.append(("last", clock.monotonic_s())))
    clock.after(1.0, first)
    cancelled = clock.after(1.2, lambda: seen.append(("never", 0.0)))
    cancelled.cancel()
    clock.advance(1.9)
    assert seen == [("first", 1.0), ("child", 1.5)]
    clock.advance_to(5.0)
    assert seen[-1] == ("last", 2.0)
    assert clock.monotonic_s() == 5.0
    assert clock.utc().seconds_since(START) == pytest.approx(5.0, abs=1e-6)
    assert clock.next_due_s() is None


def test_the_date_may_jump_while_durations_go_on() -> None:
    clock = VirtualClock(START, start_s=100.0)
    clock.advance(1.0)
    clock.jump_utc(-3600.0)
    assert clock.monotonic_s() == 101.0
    assert clock.utc().seconds_since(START) == pytest.approx(-3599.0, abs=1e-4)


def test_time_does_not_run_backwards() -> None:
    with pytest.raises(ValueError, match="backwards"):
        VirtualClock(START).advance(-1.0)


def test_the_system_clock_tells_this_century() -> None:
    clock = SystemClock()
    assert clock.utc() > utc_from_iso("2024-01-01T00:00:00")
    assert clock.monotonic_s() <= clock.monotonic_s()
