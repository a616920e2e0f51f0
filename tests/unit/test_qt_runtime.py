"""The Qt side of time and work: actions later, jobs elsewhere, answers here, nothing lost and nothing left."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from PySide6.QtCore import QObject
from pytestqt.qtbot import QtBot

from polewright.runtime.jobs import Done, InlineWorker
from polewright.runtime.qt_scheduler import QtScheduler
from polewright.runtime.worker import Worker


def test_actions_happen_in_order_and_cancelled_ones_do_not(qtbot: QtBot) -> None:
    scheduler = QtScheduler()
    happened: list[str] = []
    scheduler.after(0.02, lambda: happened.append("second"))
    scheduler.after(0.0, lambda: happened.append("first"))
    scheduler.after(0.01, lambda: happened.append("never")).cancel()
    qtbot.waitUntil(lambda: len(happened) == 2)
    assert happened == ["first", "second"]
    qtbot.waitUntil(lambda: scheduler.children() == [])


def test_actions_die_with_their_owner(qtbot: QtBot) -> None:
    owner = QObject()
    scheduler = QtScheduler(owner)
    happened: list[int] = []
    scheduler.after(0.0, lambda: happened.append(1))
    owner.deleteLater()
    qtbot.waitSignal(owner.destroyed, timeout=1000)
    other = QtScheduler()
    other.after(0.02, lambda: happened.append(2))
    qtbot.waitUntil(lambda: happened == [2])


@pytest.fixture
def worker(qtbot: QtBot) -> Iterator[Worker]:
    made = Worker()
    yield made
    made.stop()


def test_answers_arrive_in_the_thread_that_asked(qtbot: QtBot, worker: Worker) -> None:
    here = threading.current_thread()
    where: list[threading.Thread] = []
    answers: list[Done] = []

    def answer(done: Done) -> None:
        where.append(threading.current_thread())
        answers.append(done)

    worker.ask("job", threading.current_thread, answer)
    qtbot.waitUntil(lambda: bool(answers))
    assert where == [here]
    assert answers[0].value is not here


def test_the_latest_request_wins(qtbot: QtBot, worker: Worker) -> None:
    gate = threading.Event()
    answers: list[object] = []
    worker.ask("preview", lambda: gate.wait(5), lambda d: answers.append("older"))
    worker.ask("preview", lambda: "newer", lambda d: answers.append(d.value))
    gate.set()
    qtbot.waitUntil(lambda: bool(answers))
    assert answers == ["newer"]


def test_a_forgotten_request_is_never_answered(qtbot: QtBot, worker: Worker) -> None:
    answers: list[object] = []
    worker.ask("load", lambda: 1, lambda d: answers.append(d.value))
    worker.forget("load")
    worker.ask("other", lambda: 2, lambda d: answers.append(d.value))
    qtbot.waitUntil(lambda: bool(answers))
    assert answers == [2]


def test_a_problem_is_an_answer(qtbot: QtBot, worker: Worker) -> None:
    answers: list[Done] = []
    worker.ask("bad", lambda: 1 / 0, answers.append)
    qtbot.waitUntil(lambda: bool(answers))
    assert isinstance(answers[0].problem, ZeroDivisionError)


def test_inline_worker_answers_at_once() -> None:
    answers: list[Done] = []
    InlineWorker().ask("sum", lambda: 2 + 2, answers.append)
    InlineWorker().ask("bad", lambda: 1 / 0, answers.append)
    assert answers[0].value == 4
    assert isinstance(answers[1].problem, ZeroDivisionError)
