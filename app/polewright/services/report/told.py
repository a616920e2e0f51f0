"""What the lines of drifts and shifts in a record say, for the night's report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from polewright.core.axis_reasons import RecordedDoubt
from polewright.core.drift.compare import Comparison
from polewright.core.drift.reasons import DriftDoubt, Unknown
from polewright.core.errors import RecordingError
from polewright.core.plain import from_plain, from_plain_as
from polewright.core.vigil.watch import Shift
from polewright.words.drift import comparison_words, drift_doubt_words, unknown_words
from polewright.words.vigil import shift_words

T = TypeVar("T")


@dataclass(frozen=True)
class _Told:
    """The part of the line that is told in sentences."""

    unknown: Unknown | None = None
    warnings: tuple[DriftDoubt, ...] = ()
    comparison: Comparison | RecordedDoubt | None = None


def read_or(hint: Any, data: object, otherwise: T) -> T:
    """What a line says, read by its type `hint`; `otherwise` where it says nothing or is damaged."""
    try:
        return cast(T, from_plain_as(hint, data, ""))
    except RecordingError:
        return otherwise


def drift_record_words(data: Mapping[str, object]) -> str:
    """What is not known, the comparison with the turn, and the doubts; empty where the line is damaged."""
    try:
        told = from_plain(_Told, {name: data[name] for name in ("unknown", "warnings", "comparison") if name in data})
    except RecordingError:
        return ""
    parts = [unknown_words(told.unknown), _compared(told), *map(drift_doubt_words, told.warnings)]
    return " ".join(part for part in parts if part)


def _compared(told: _Told) -> str:
    match told.comparison:
        case None:
            return ""
        case RecordedDoubt(text):
            return text
        case Comparison():
            return comparison_words(told.comparison, None)


def shift_record_words(data: Mapping[str, object]) -> str:
    """What happened to the mount; empty where the line is damaged."""
    try:
        return shift_words(from_plain(Shift, data))
    except RecordingError:
        return ""
