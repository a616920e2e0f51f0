"""One thread for work that must not hold up the window. Frozen requests in, frozen results out.

Results carry the request's `generation`: asking anew under the same name makes the older answer unwanted, and it is
dropped even when it was already on its way. An exception in a job is a result too, never lost.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal, Slot

Job = Callable[[], Any]
Answer = Callable[["Done"], None]


@dataclass(frozen=True)
class Done:
    """How a job ended: `value`, or `problem` when it raised."""

    name: str
    generation: int
    value: Any = None
    problem: BaseException | None = None

    def result(self) -> Any:
        """The value; a problem that nobody expects is raised."""
        if self.problem is not None:
            raise self.problem
        return self.value


class Worker(QObject):
    """Runs jobs one after the other in a thread of its own and answers in the thread of its owner.

    Signals: `_arrived` hops from the worker thread to the owner's (queued, to a method of this QObject).
    """

    _arrived = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="polewright-worker")
        self._latest: dict[str, int] = {}
        self._answers: dict[tuple[str, int], Answer] = {}
        self._futures: dict[tuple[str, int], Future[Any]] = {}
        self._arrived.connect(self._on_arrived, Qt.ConnectionType.QueuedConnection)

    def ask(self, name: str, job: Job, answer: Answer) -> None:
        """Run `job`; `answer` gets the result unless the same name is asked again first: the latest wins."""
        generation = self._latest.get(name, 0) + 1
        older = self._futures.pop((name, generation - 1), None)
        if older is not None:
            older.cancel()
        self._answers.pop((name, generation - 1), None)
        self._latest[name] = generation
        self._answers[name, generation] = answer
        self._futures[name, generation] = self._pool.submit(self._run, name, generation, job)

    def forget(self, name: str) -> None:
        """Nobody wants the answer of that name any more."""
        generation = self._latest.get(name, 0)
        self._answers.pop((name, generation), None)
        future = self._futures.pop((name, generation), None)
        if future is not None:
            future.cancel()

    def stop(self) -> None:
        """Drop what waits, wait for what runs, end the thread. Called once, before the owner goes."""
        self._answers.clear()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self, name: str, generation: int, job: Job) -> None:
        try:
            done = Done(name, generation, job())
        except Exception as problem:  # handed to the owner, who raises or shows it
            done = Done(name, generation, problem=problem)
        self._arrived.emit(done)

    @Slot(object)
    def _on_arrived(self, done: Done) -> None:
        self._futures.pop((done.name, done.generation), None)
        answer = self._answers.pop((done.name, done.generation), None)
        if answer is not None:
            answer(done)


class InlineWorker:
    """The same without a thread, for tests and replay: every answer has arrived when `ask` returns."""

    def ask(self, name: str, job: Job, answer: Answer) -> None:
        """Run `job` at once."""
        try:
            done = Done(name, 1, job())
        except Exception as problem:
            done = Done(name, 1, problem=problem)
        answer(done)

    def forget(self, name: str) -> None:
        """Nothing is ever on its way."""

    def stop(self) -> None:
        """Nothing runs."""
