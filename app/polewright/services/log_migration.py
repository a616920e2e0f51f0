"""Lines of older logs as this version writes them. The only place that looks into recorded text.

Version 1 told reasons in sentences. Where a sentence tells exactly what it was written from, it becomes that value;
else it is kept as it was (RecordedReason), with the kind that stood beside it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from polewright.core.plain import to_plain
from polewright.core.star_trouble import CapOn, NoStars
from polewright.core.unsolved import Fault, NoTime, OtherCamera
from polewright.services.log_format import LoggedEvent

EVENT_KIND = "event"

Data = dict[str, Any]
_FRAME_SENTENCES: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], object]], ...] = (
    (re.compile(r"Every pixel has the value (\d+): no light reached the camera\."), lambda m: CapOn(float(m[1]))),
    (re.compile(r"No stars found, 5 needed\."), lambda m: NoStars(None, 0)),
    (re.compile(r"The frame does not say when it was taken\."), lambda m: NoTime()),
    (re.compile(r"(.+) could not be measured: a fault in the program\."), lambda m: Fault(m[1])),
    (re.compile(r"(.+) was not taken with the camera of the capture \(.*"), lambda m: OtherCamera(m[1])),
)


def migrated(line: LoggedEvent) -> LoggedEvent:
    """The line in the form of this version; one that has it already comes back as it is."""
    change = _CHANGES.get(str(line.data.get("kind"))) if line.kind == EVENT_KIND else None
    return line if change is None else replace(line, data=change(line.data))


def _frame_unsolved(data: Data) -> Data:
    if "why" in data:
        return data
    return _without(data, "reason", "cure", "trouble") | {"why": _frame_reason(data)}


def _frame_reason(data: Mapping[str, Any]) -> object:
    reason = str(data.get("reason", ""))
    for sentence, value in _FRAME_SENTENCES:
        found = sentence.search(reason)
        if found is not None:
            return to_plain(value(found))
    trouble = data.get("trouble", "NO_MATCH")
    return {"kind": "RecordedReason", "trouble": trouble, "reason": reason, "cure": str(data.get("cure", ""))}


def _without(data: Mapping[str, Any], *names: str) -> Data:
    return {name: value for name, value in data.items() if name not in names}


_CHANGES: dict[str, Callable[[Data], Data]] = {"FrameUnsolved": _frame_unsolved}
