"""A simulated mount beside a person: its time is that of the clock on the wall, its camera runs by itself."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from polewright.core.model import Utc
from polewright.practice.deeds import point_camera
from polewright.practice.world import Deliver, RehearsalWorld
from polewright.services.ports import Clock

Task = Callable[[RehearsalWorld], Any]
Answer = Callable[[Any], None]
STILL_S = 1.0  # after a slew, before the first exposure


class Practice(Protocol):
    """The simulated rig. `ask` does a task there; the answer comes back to the caller's thread."""

    def ask(self, task: Task, answer: Answer | None = None) -> None: ...

    def stop(self) -> None: ...


class PracticeClock:
    """Satisfies Clock: durations are real, the date is that of the simulated night (as its computer believes it)."""

    def __init__(self, real: Clock, start: Utc) -> None:
        self._real = real
        self._start = start
        self._zero_s = real.monotonic_s()

    def monotonic_s(self) -> float:
        return self._real.monotonic_s()

    def utc(self) -> Utc:
        return self._start.plus_seconds(self._real.monotonic_s() - self._zero_s)


def start_camera(world: RehearsalWorld, deliver: Deliver) -> None:
    """Point the camera to where the night begins; the first exposure waits until it stands still."""
    pointed = point_camera(world.first_hour_angle_h)(world)
    world.clock.after(pointed.moving_s + STILL_S, lambda: world.start_camera(deliver))


def write_into(world: RehearsalWorld, folder: Path) -> Deliver:
    """Write each frame as a FITS file."""
    folder.mkdir(parents=True, exist_ok=True)

    def deliver(start: Utc, exposure_s: float) -> None:
        world.rig.write_frame(folder, start, exposure_s)

    return deliver
