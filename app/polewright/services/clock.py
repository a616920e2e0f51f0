"""The system's clock, and a virtual one that replay, rehearsal and tests drive by hand."""

from __future__ import annotations

import heapq
import itertools
import time
from collections.abc import Callable

from polewright.core.model import Utc
from polewright.core.sky.timescales import utc_from_unix

# one that goes on while the computer sleeps, where there is such a one: else waking looks like a clock set forwards
STOPWATCH = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


class SystemClock:
    """Real time. Satisfies ports.Clock."""

    def monotonic_s(self) -> float:
        return time.monotonic() if STOPWATCH is None else time.clock_gettime(STOPWATCH)

    def utc(self) -> Utc:
        return utc_from_unix(time.time())


class VirtualTimer:
    """An action waiting in a VirtualClock."""

    def __init__(self, action: Callable[[], None]) -> None:
        self.action: Callable[[], None] | None = action

    def cancel(self) -> None:
        self.action = None


class VirtualClock:
    """Time that passes only when told to. Satisfies ports.Clock and ports.Scheduler; one thread only."""

    def __init__(self, start_utc: Utc, start_s: float = 0.0) -> None:
        self._start_utc = start_utc
        self._start_s = start_s
        self._now_s = start_s
        self._waiting: list[tuple[float, int, VirtualTimer]] = []
        self._order = itertools.count()

    def monotonic_s(self) -> float:
        return self._now_s

    def utc(self) -> Utc:
        return self._start_utc.plus_seconds(self._now_s - self._start_s)

    def jump_utc(self, seconds: float) -> None:
        """Set the date forward or back, as a computer does that finds its time server; durations go on."""
        self._start_utc = self._start_utc.plus_seconds(seconds)

    def after(self, delay_s: float, action: Callable[[], None]) -> VirtualTimer:
        timer = VirtualTimer(action)
        heapq.heappush(self._waiting, (self._now_s + max(0.0, delay_s), next(self._order), timer))
        return timer

    def next_due_s(self) -> float | None:
        """When the next waiting action is due (monotonic seconds); None when nothing waits."""
        while self._waiting and self._waiting[0][2].action is None:
            heapq.heappop(self._waiting)
        return self._waiting[0][0] if self._waiting else None

    def advance(self, seconds: float) -> None:
        """Let time pass; actions run in the order they are due, each at its own moment, new ones included."""
        if not seconds >= 0.0:
            raise ValueError(f"time does not run backwards ({seconds} s)")
        end = self._now_s + seconds
        while (due := self.next_due_s()) is not None and due <= end:
            _, _, timer = heapq.heappop(self._waiting)
            self._now_s = max(self._now_s, due)
            action, timer.action = timer.action, None
            if action is not None:
                action()
        self._now_s = end

    def advance_to(self, moment_s: float) -> None:
        """Let time pass until `moment_s` (monotonic seconds); nothing happens if that is past."""
        self.advance(max(0.0, moment_s - self._now_s))
