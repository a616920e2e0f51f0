"""Slow work and its outcome: asked of a worker, which answers in the thread of whoever asked.

An exception in a job is an outcome too, never lost. `Jobs` stands in front of a worker where some work must not be
dropped; the worker that has a thread is in worker.py.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True)
class Done:
    """How a job ended: `value`, or `problem`, with its traceback, when it raised."""

    value: Any = None
    problem: Exception | None = None

    def result(self) -> Any:
        """The value; a problem that nobody expects is raised."""
        if self.problem is not None:
            raise self.problem
        return self.value


@dataclass(frozen=True)
class Overtaken:
    """The work was never begun: a newer preview took its place."""


Job = Callable[[], Any]
Answer = Callable[[Done], None]
JobOutcome = Done | Overtaken
Deliver = Callable[[JobOutcome], None]


class Asks(Protocol):
    """Runs jobs one after the other and answers in the thread of the owner."""

    def ask(self, name: str, job: Job, answer: Answer) -> None:
        """Run `job`; `answer` gets the outcome unless the same name is asked again first: the latest wins."""
        ...

    def forget(self, name: str) -> None:
        """Nobody wants the answer of that name any more."""
        ...

    def stop(self) -> None:
        """Drop what waits, wait for what runs. Called once, before the owner goes."""
        ...


def outcome_of(job: Job) -> Done:
    """Runs `job`; an exception becomes a value that says so."""
    try:
        return Done(job())
    except Exception as problem:  # handed to the owner, who raises or shows it
        return Done(problem=problem)


class InlineWorker:
    """Satisfies Asks without a thread, for commands, replay and tests: all answers have come when `ask` returns."""

    def ask(self, name: str, job: Job, answer: Answer) -> None:  # noqa: ARG002
        answer(outcome_of(job))

    def forget(self, name: str) -> None:
        """Nothing is ever on its way."""

    def stop(self) -> None:
        """Nothing runs."""


@dataclass(frozen=True)
class _Waiting:
    job: Job
    deliver: Deliver


class Jobs:
    """Kept jobs in order, of the others the latest that has not begun. Used in the owner's thread alone. `running`:
    one is with the worker.

    One job at a time is with the worker, and a running one is never dropped, so that measurements keep coming however
    fast the frames arrive.
    """

    def __init__(self, worker: Asks | None = None) -> None:
        self._worker = worker or InlineWorker()
        self._kept: deque[_Waiting] = deque()
        self._preview: _Waiting | None = None
        self.running = False

    @property
    def waiting(self) -> int:
        """How many jobs wait for the worker."""
        return len(self._kept) + (self._preview is not None)

    def submit(self, job: Job, deliver: Deliver, *, keep: bool) -> None:
        """Run `job` when its turn comes and deliver its outcome. `keep`: never overtaken."""
        waiting = _Waiting(job, deliver)
        if keep:
            self._kept.append(waiting)
        else:
            older, self._preview = self._preview, waiting
            if older is not None:
                older.deliver(Overtaken())
        self._next()

    def _next(self) -> None:
        begun = self._kept[0] if self._kept else self._preview
        if self.running or begun is None:
            return
        if self._kept:
            self._kept.popleft()
        else:
            self._preview = None
        self.running = True
        deliver = begun.deliver
        self._worker.ask("the next job", begun.job, lambda outcome: self._finished(deliver, outcome))

    def _finished(self, deliver: Deliver, outcome: Done) -> None:
        self.running = False
        self._next()
        deliver(outcome)
