"""Jobs on the worker thread: kept ones in order, of the others the latest that has not begun."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from polewright.runtime.jobs import Deliver, Done, Failed, Overtaken, Work
from polewright.runtime.worker import Done as WorkerDone
from polewright.runtime.worker import InlineWorker, Worker


@dataclass(frozen=True)
class _Waiting:
    work: Work
    deliver: Deliver


class QtJobs:
    """Satisfies jobs.Jobs. Used in the owner's thread alone; one job at a time is with the worker.

    A running job is never dropped, so that measurements keep coming however fast the frames arrive.
    """

    def __init__(self, worker: Worker | InlineWorker) -> None:
        self._worker = worker
        self._kept: deque[_Waiting] = deque()
        self._preview: _Waiting | None = None
        self._running = False
        self._number = 0

    @property
    def waiting(self) -> int:
        """How many jobs wait for the worker."""
        return len(self._kept) + (self._preview is not None)

    def submit(self, work: Work, deliver: Deliver, *, keep: bool) -> None:
        """Run `work` when its turn comes; see jobs.Jobs."""
        job = _Waiting(work, deliver)
        if keep:
            self._kept.append(job)
        else:
            older, self._preview = self._preview, job
            if older is not None:
                older.deliver(Overtaken())
        self._next()

    def _next(self) -> None:
        if self._running:
            return
        job: _Waiting | None
        if self._kept:
            job = self._kept.popleft()
        else:
            job, self._preview = self._preview, None
        if job is None:
            return
        self._running = True
        self._number += 1
        deliver = job.deliver
        self._worker.ask(f"job {self._number}", job.work, lambda done: self._finished(deliver, done))

    def _finished(self, deliver: Deliver, done: WorkerDone) -> None:
        self._running = False
        if isinstance(done.problem, Exception):
            outcome: Done | Failed = Failed(done.problem)
        elif done.problem is not None:
            raise done.problem
        else:
            outcome = Done(done.value)
        self._next()
        deliver(outcome)
