"""One thread for work that must not hold up the window."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal, Slot

from polewright.runtime.jobs import Answer, Done, Job, outcome_of


@dataclass(eq=False)
class _Asked:
    name: str
    answer: Answer
    future: Future[Any] | None = None


class Worker(QObject):
    """Satisfies jobs.Asks: a thread of its own, answers in the thread of its owner.

    An answer that is no longer wanted is dropped even when it was already on its way. Signals: `_arrived` hops from
    the worker thread to the owner's (queued, to a method of this QObject).
    """

    _arrived = Signal(object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="polewright-worker")
        self._wanted: dict[str, _Asked] = {}
        self._arrived.connect(self._on_arrived, Qt.ConnectionType.QueuedConnection)

    def ask(self, name: str, job: Job, answer: Answer) -> None:
        self.forget(name)
        asked = self._wanted[name] = _Asked(name, answer)
        asked.future = self._pool.submit(lambda: self._arrived.emit(asked, outcome_of(job)))

    def forget(self, name: str) -> None:
        asked = self._wanted.pop(name, None)
        if asked is not None and asked.future is not None:
            asked.future.cancel()

    def stop(self) -> None:
        self._wanted.clear()
        self._pool.shutdown(wait=True, cancel_futures=True)

    @Slot(object, object)
    def _on_arrived(self, asked: _Asked, outcome: Done) -> None:
        if self._wanted.get(asked.name) is asked:
            del self._wanted[asked.name]
            asked.answer(outcome)
