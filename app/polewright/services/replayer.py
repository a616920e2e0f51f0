"""Plays a recorded night: the same events, in the same order, with the same numbers, at the pace asked for."""

from __future__ import annotations

from collections.abc import Iterator

from polewright.core.errors import UsageError
from polewright.services.clock import VirtualClock
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog
from polewright.services.ports import Clock

SLOWEST, FASTEST = 1.0, 100.0  # chosen: a hundred times is a night in minutes; what is too fast can be stepped


class Replayer:
    """Follows a clock: `due()` gives the events whose time has come. Steps by hand at any moment.

    `night_s` is the replayed time, in seconds since the log began.
    """

    def __init__(self, log: NightLog, clock: Clock, speed: float = 1.0) -> None:
        self._events = log.events
        self._clock = clock
        self._next = 0
        self._speed = _checked(speed)
        self._paused = False
        self._anchor_s = clock.monotonic_s()
        self._anchor_night_s = self._events[0].t_s if self._events else 0.0

    @property
    def night_s(self) -> float:
        if self._paused:
            return self._anchor_night_s
        return self._anchor_night_s + self._speed * (self._clock.monotonic_s() - self._anchor_s)

    @property
    def finished(self) -> bool:
        return self._next >= len(self._events)

    def due(self) -> list[LoggedEvent]:
        """The events that are due by now and have not been given out, in order."""
        events = []
        while not self._paused and not self.finished and self._events[self._next].t_s <= self.night_s:
            events.append(self._events[self._next])
            self._next += 1
        return events

    def wait_s(self) -> float | None:
        """Real seconds until the next event is due; None when paused or finished."""
        if self._paused or self.finished:
            return None
        return max(0.0, (self._events[self._next].t_s - self.night_s) / self._speed)

    def step(self) -> LoggedEvent | None:
        """The next event now, whatever the clock says; None at the end. The replayed time moves there."""
        if self.finished:
            return None
        event = self._events[self._next]
        self._next += 1
        self._move_to(event.t_s)
        return event

    def pause(self) -> None:
        self._move_to(self.night_s)
        self._paused = True

    def go_on(self) -> None:
        self._move_to(self.night_s)
        self._paused = False

    def _move_to(self, night_s: float) -> None:
        self._anchor_s, self._anchor_night_s = self._clock.monotonic_s(), night_s


def _checked(speed: float) -> float:
    if not SLOWEST <= speed <= FASTEST:
        raise UsageError(f"The speed of a replay lies between {SLOWEST:g} and {FASTEST:g} times, not {speed:g}.")
    return speed


def play(log: NightLog, clock: VirtualClock) -> Iterator[LoggedEvent]:
    """All events at once, the clock advanced to each one's moment before it is given out."""
    zero_s = clock.monotonic_s() - (log.events[0].t_s if log.events else 0.0)
    for event in log.events:
        clock.advance_to(zero_s + event.t_s)
        yield event
