"""A simulated mount and camera in a thread of its own, so that nothing is rendered where the window draws."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal, Slot

from polewright.practice.real_time import Answer, Task, start_camera, write_into
from polewright.practice.world import RehearsalWorld
from polewright.services.ports import Clock


class ThreadedPractice(QObject):
    """Satisfies Practice in real time: one second of the simulated night a second."""

    _answered = Signal(object, object)

    def __init__(self, make_world: Callable[[], RehearsalWorld], folder: Path, clock: Clock, failed: Answer) -> None:
        """`make_world` runs in the thread; `failed` gets the exception when the world breaks (a full disk)."""
        super().__init__(None)
        self._tasks: queue.SimpleQueue[tuple[Task | None, Answer | None]] = queue.SimpleQueue()
        self._clock = clock
        self._zero_s = clock.monotonic_s()
        self._failed = failed
        self._silent = False
        self._answered.connect(self._on_answered, Qt.ConnectionType.QueuedConnection)
        self._thread = threading.Thread(
            target=self._run, args=(make_world, folder), name="polewright-practice", daemon=True
        )
        self._thread.start()

    def ask(self, deed: Task, answer: Answer | None = None) -> None:
        self._tasks.put((deed, answer))

    def stop(self) -> None:
        self._silent = True
        self._tasks.put((None, None))
        self._thread.join()

    def _run(self, make_world: Callable[[], RehearsalWorld], folder: Path) -> None:
        try:
            world = make_world()
            self._zero_s = self._clock.monotonic_s()
            start_camera(world, write_into(world, folder))
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
