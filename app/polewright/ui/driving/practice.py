"""A simulated mount and camera in real time: hands turn the screws, frames are written into a folder.

All of it runs in a thread of its own, so that nothing is rendered where the window draws; in tests in virtual time.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import QObject, Qt, Signal, Slot

from polewright.core.model import TargetPole, Utc
from polewright.practice.world import Deliver, RehearsalWorld, TrueOffset
from polewright.services.ports import Clock, Scheduler

Deed = Callable[[RehearsalWorld], Any]
Answer = Callable[[Any], None]
EAST_AGAIN_H = -2.0
STILL_S = 1.0  # after a slew, before the first exposure
BEAT_S = 0.25


class Practice(Protocol):
    """The simulated rig. `ask` does a deed there; the answer comes back to the caller's thread."""

    def ask(self, deed: Deed, answer: Answer | None = None) -> None: ...

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


class InlinePractice:
    """Satisfies Practice in the caller's thread: a scheduler's beat makes the world's time pass."""

    def __init__(self, world: RehearsalWorld, deliver: Deliver, clock: Clock, scheduler: Scheduler) -> None:
        self.world = world
        self._clock = clock
        self._scheduler = scheduler
        self._zero_s = clock.monotonic_s()
        self._stopped = False
        start_camera(world, deliver)
        self._beat()

    def ask(self, deed: Deed, answer: Answer | None = None) -> None:
        self._catch_up()
        result = deed(self.world)
        if answer is not None:
            answer(result)

    def stop(self) -> None:
        self._stopped = True

    def _beat(self) -> None:
        if not self._stopped:
            self._catch_up()
            self._scheduler.after(BEAT_S, self._beat)

    def _catch_up(self) -> None:
        self.world.clock.advance_to(self._clock.monotonic_s() - self._zero_s)


def start_camera(world: RehearsalWorld, deliver: Deliver) -> None:
    """Point the camera to where the night begins; the first exposure waits until it stands still."""
    pointing_s = point_camera(world, world.rig.night.scenario.hour_angle_h)
    world.clock.after(pointing_s + STILL_S, lambda: world.start_camera(deliver))


def into_folder(world: RehearsalWorld, folder: Path) -> Deliver:
    """Write each frame as a FITS file."""
    folder.mkdir(parents=True, exist_ok=True)

    def deliver(start: Utc, exposure_s: float) -> None:
        world.rig.write_frame(folder, start, exposure_s)

    return deliver


class ThreadedPractice(QObject):
    """Satisfies Practice in real time: one second of the simulated night a second."""

    _answered = Signal(object, object)

    def __init__(self, make_world: Callable[[], RehearsalWorld], folder: Path, clock: Clock, failed: Answer) -> None:
        """`make_world` runs in the thread; `failed` gets the exception when the world breaks (a full disk)."""
        super().__init__(None)
        self._tasks: queue.SimpleQueue[tuple[Deed | None, Answer | None]] = queue.SimpleQueue()
        self._clock = clock
        self._zero_s = clock.monotonic_s()
        self._failed = failed
        self._silent = False
        self._answered.connect(self._on_answered, Qt.ConnectionType.QueuedConnection)
        self._thread = threading.Thread(
            target=self._run, args=(make_world, folder), name="polewright-practice", daemon=True
        )
        self._thread.start()

    def ask(self, deed: Deed, answer: Answer | None = None) -> None:
        self._tasks.put((deed, answer))

    def stop(self) -> None:
        self._silent = True
        self._tasks.put((None, None))
        self._thread.join()

    def _run(self, make_world: Callable[[], RehearsalWorld], folder: Path) -> None:
        try:
            world = make_world()
            self._zero_s = self._clock.monotonic_s()
            start_camera(world, into_folder(world, folder))
            while self._one_step(world):
                pass
        except Exception as problem:
            self._answered.emit(self._failed, problem)

    def _one_step(self, world: RehearsalWorld) -> bool:
        """Wait for a deed or the next frame, whichever comes first; False at the end."""
        due_s = world.clock.next_due_s()
        wait_s = 1.0 if due_s is None else min(1.0, max(0.0, due_s - self._elapsed_s()))
        try:
            deed, answer = self._tasks.get(timeout=wait_s) if wait_s > 0.0 else self._tasks.get_nowait()
        except queue.Empty:
            world.clock.advance_to(self._elapsed_s())
            return True
        if deed is None:
            return False
        world.clock.advance_to(self._elapsed_s())
        result = deed(world)
        if answer is not None:
            self._answered.emit(answer, result)
        return True

    def _elapsed_s(self) -> float:
        return self._clock.monotonic_s() - self._zero_s

    @Slot(object, object)
    def _on_answered(self, answer: Answer, result: Any) -> None:
        if not self._silent:
            answer(result)


# deeds: what hands do; each returns the seconds until it is done


def turn_screw(screw: str, turns: float) -> Deed:
    """Turn a screw, clockwise positive."""
    return lambda world: world.seconds_until(world.rig.turn(screw, turns, world.now()))


def rotate_axis(west_deg: float) -> Deed:
    """Rotate the RA axis, west positive."""
    return lambda world: world.seconds_until(world.rig.rotate_ra(west_deg, world.now()))


def tighten_locks(world: RehearsalWorld) -> float:
    """Tighten the locks of the base."""
    return world.seconds_until(world.rig.tighten(world.now()))


def expose(factor: float) -> Deed:
    """Another exposure time."""

    def deed(world: RehearsalWorld) -> float:
        world.change_exposure(factor)
        return 0.5

    return deed


def tighten_clutch(world: RehearsalWorld) -> float:
    """The declination axis slips no more."""
    world.tighten_clutch()
    return 2.0


def point_camera(world: RehearsalWorld, hour_angle_h: float) -> float:
    """Point the camera and let the mount track."""
    night = world.rig.night
    side = -1.0 if night.southern else 1.0
    return point_to(hour_angle_h, side * night.scenario.declination_toward_pole_deg)(world)


def point_to(hour_angle_h: float, declination_deg: float) -> Callable[[RehearsalWorld], float]:
    """Point the telescope to a field and let the mount track."""

    def deed(world: RehearsalWorld) -> float:
        done = world.rig.point(hour_angle_h, declination_deg, world.now())
        world.rig.set_tracking(True, done)
        return world.seconds_until(done)

    return deed


def truth(target: TargetPole) -> Deed:
    """The true offset, for the score."""

    def deed(world: RehearsalWorld) -> TrueOffset:
        return world.true_offset(target)

    return deed
