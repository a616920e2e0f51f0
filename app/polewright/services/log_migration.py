"""Lines of older logs as this version writes them. The only place that looks into recorded text.

Version 1 told reasons in sentences. Where a sentence tells exactly what it was written from, it becomes that value;
else it is kept as it was (RecordedReason, RecordedRefusal, RecordedDoubt), with the kind that stood beside it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from polewright.core.axis_reasons import LowPole, RecordedDoubt, SameExposure, TrackingSeemsSwitched, TwoFrames
from polewright.core.drift.reasons import Held, NoFramesYet, NotTracking, OddRate, Unknown, Wanders
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.plain import to_plain
from polewright.core.star_trouble import CapOn, TooFewStars
from polewright.core.unsolved import Fault, NoTime, OtherCamera
from polewright.services.log_format import LoggedEvent

EVENT_KIND, DRIFT_KIND = "event", "drift_proof"

Data = dict[str, Any]
Sentences = tuple[tuple[str, Callable[[re.Match[str]], object]], ...]
_FRAME: Sentences = (
    (r"Every pixel has the value (\d+): no light reached the camera\.", lambda m: CapOn(float(m[1]))),
    (r"No stars found, 5 needed\.", lambda m: TooFewStars(None, 0, 0)),
    (r"The frame does not say when it was taken\.", lambda m: NoTime()),
    (r"(.+) could not be measured: a fault in the program\.", lambda m: Fault(m[1])),
    (r"(.+) was not taken with the camera of the capture \(", lambda m: OtherCamera(m[1])),
)
_DRIFT_REFUSAL: Sentences = (
    (r"No frames yet\.", lambda m: NoFramesYet()),
    (r"The camera does not follow the stars\.", lambda m: NotTracking()),
)
_DOUBT: Sentences = (
    (r"(.+) is the same exposure as (.+) and was counted once\.", lambda m: SameExposure(m[1], m[2])),
    (r"So near the horizon nobody knows to arcminutes", lambda m: LowPole()),
    (r"Two frames cannot check each other", lambda m: TwoFrames()),
    (r"Tracking seems to have been switched (on|off)\.", lambda m: TrackingSeemsSwitched(m[1] == "on")),
    (r"The declination wanders slowly", lambda m: Wanders()),
    (r"The drive does not run at the sidereal rate", lambda m: OddRate()),
    (r"Nothing moves, not even in right ascension", lambda m: Held()),
    (r"The frames do not agree \(", lambda m: RecordedDoubt(m.string, disagree=True)),
)
_UNKNOWN = {"The azimuth": Unknown.AZIMUTH, "The altitude": Unknown.ALTITUDE, "One position": Unknown.ONE_DIRECTION}


def all_migrated(lines: Iterable[LoggedEvent]) -> tuple[LoggedEvent, ...]:
    """The lines of a whole log in the form of this version."""
    current = tuple(migrated(line) for line in lines)
    answered = any(line.kind == EVENT_KIND and line.data.get("kind") == "GuidingTold" for line in current)
    return tuple(_asking(line) for line in current) if answered else current


def _asking(line: LoggedEvent) -> LoggedEvent:
    """Where somebody answered whether guiding is off it had been asked, which was not written down at first."""
    asked = line.kind == EVENT_KIND and line.data.get("kind") == "DriftAsked"
    return replace(line, data={"ask": True} | line.data) if asked else line


def migrated(line: LoggedEvent) -> LoggedEvent:
    """The line in the form of this version; one that has it already comes back as it is."""
    if line.kind == DRIFT_KIND:
        return replace(line, data=_drift_record(line.data))
    change = _CHANGES.get(str(line.data.get("kind"))) if line.kind == EVENT_KIND else None
    return line if change is None else replace(line, data=change(line.data))


def _frame_unsolved(data: Data) -> Data:
    return data if "why" in data else _with_why(data, _value(_FRAME, data.get("reason")) or _recorded_reason(data))


def _axis_refused(data: Data) -> Data:
    return data if "why" in data else _with_why(data, _recorded_refusal(data))


def _drift_refused(data: Data) -> Data:
    if "why" in data:
        return data
    return _with_why(data, _value(_DRIFT_REFUSAL, data.get("reason")) or _recorded_refusal(data))


def _with_axis(data: Data) -> Data:
    axis = data.get("axis")
    return data | {"axis": _with_doubts(axis)} if isinstance(axis, Mapping) else data


def _drift_measured(data: Data) -> Data:
    reading = data.get("reading")
    return data | {"reading": _drift_reading(reading)} if isinstance(reading, Mapping) else data


def _drift_record(data: Data) -> Data:
    told = data.get("comparison")
    comparison = to_plain(RecordedDoubt(told)) if isinstance(told, str) and told else told or None
    return _drift_reading(data) | {"comparison": comparison}


def _drift_reading(data: Mapping[str, Any]) -> Data:
    told = data.get("unknown")
    if not isinstance(told, str) or told in Unknown.__members__:
        return _with_doubts(data)
    unknown = next((to_plain(kind) for words, kind in _UNKNOWN.items() if told.startswith(words)), None)
    return _with_doubts(data) | {"unknown": unknown}


def _with_doubts(data: Mapping[str, Any]) -> Data:
    warnings = data.get("warnings")
    if not isinstance(warnings, list):
        return dict(data)
    return dict(data) | {"warnings": [_doubt(item) if isinstance(item, str) else item for item in warnings]}


def _doubt(text: str) -> object:
    return _value(_DOUBT, text) or to_plain(RecordedDoubt(text))


def _value(sentences: Sentences, text: object) -> object:
    """The value that a text was written from, as plain data; None when no sentence tells it."""
    for sentence, value in sentences:
        found = re.search(sentence, str(text))
        if found is not None:
            return to_plain(value(found))
    return None


def _recorded_reason(data: Mapping[str, Any]) -> object:
    told = {"reason": str(data.get("reason", "")), "cure": str(data.get("cure", ""))}
    return {"kind": "RecordedReason", "trouble": data.get("trouble", "NO_MATCH"), **told}


def _recorded_refusal(data: Mapping[str, Any]) -> object:
    return to_plain(RecordedRefusal(str(data.get("reason", "")), str(data.get("cure", ""))))


def _with_why(data: Mapping[str, Any], why: object) -> Data:
    return {name: value for name, value in data.items() if name not in ("reason", "cure", "trouble")} | {"why": why}


_CHANGES: dict[str, Callable[[Data], Data]] = {
    "FrameUnsolved": _frame_unsolved,
    "AxisRefused": _axis_refused,
    "AxisMeasured": _with_axis,
    "AxisFollowed": _with_axis,
    "DriftRefused": _drift_refused,
    "DriftMeasured": _drift_measured,
}
