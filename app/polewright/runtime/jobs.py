"""Where slow work runs: at once, or in a worker thread. The owner of the night gets the outcome in its own thread."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True)
class Done:
    """The work is done; `value` is what it returned."""

    value: Any


@dataclass(frozen=True)
class Failed:
    """The work raised; the exception still has its traceback."""

    error: Exception


@dataclass(frozen=True)
class Overtaken:
    """The work was never begun: a newer preview took its place."""


JobOutcome = Done | Failed | Overtaken
Work = Callable[[], Any]
Deliver = Callable[[JobOutcome], None]


class Jobs(Protocol):
    """Runs work one after the other, in the order given, and delivers each outcome to the owner's thread."""

    def submit(self, work: Work, deliver: Deliver, *, keep: bool) -> None:
        """`keep`: never overtaken. Of the others only the latest that has not begun is run."""
        ...


class InlineJobs:
    """Satisfies Jobs: everything at once, in the caller's thread. For commands, replay and tests."""

    def submit(self, work: Work, deliver: Deliver, *, keep: bool) -> None:  # noqa: ARG002
        deliver(outcome_of(work))


def outcome_of(work: Work) -> JobOutcome:
    """Runs `work`; an exception becomes a value that says so."""
    try:
        return Done(work())
    except Exception as error:
        return Failed(error)
