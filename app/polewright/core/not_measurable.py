"""A number that the data do not support, as a value. What is said about it: words/."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class NotMeasurable:
    """A number that the data do not support; its class says why."""


@dataclass(frozen=True)
class RecordedRefusal(NotMeasurable):
    """What an older version wrote down in words (services/log_migration.py)."""

    reason: str
    cure: str
