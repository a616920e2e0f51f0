"""What the engine needs from the world, as protocols: real and virtual adapters are interchangeable."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from polewright.core.model import Utc


class Clock(Protocol):
    """Two clocks: one that never jumps, for durations; one that tells the date, which may be wrong."""

    def monotonic_s(self) -> float:
        """Seconds since some fixed moment; never goes back."""
        ...

    def utc(self) -> Utc:
        """What the computer believes the time is."""
        ...


class Timer(Protocol):
    """An action that has been scheduled."""

    def cancel(self) -> None:
        """The action does not happen any more; harmless if it has happened."""
        ...


class Scheduler(Protocol):
    """Runs actions later, in the thread of its owner."""

    def after(self, delay_s: float, action: Callable[[], None]) -> Timer:
        """Run `action` once, `delay_s` seconds from now."""
        ...


class Recorder(Protocol):
    """Keeps the night. Never raises for the sake of a disk: see services/recorder.py."""

    def record(self, kind: str, data: dict[str, Any], *, urgent: bool = False) -> int:
        """Append one event and return its number; `urgent`: it is on the disk itself when this returns."""
        ...

    def keep_checkpoint(self, state: dict[str, Any]) -> None:
        """Keep, beside the record, where the night stands after the last event: it need not be kept."""
        ...
