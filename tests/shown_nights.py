"""What the window shows in the kept nights: every number, side, mark and button, moment by moment, but no wording.

Beside it what has changed in the state of the night since the moment before, for what no page shows.

Of a text only its numbers and the words that name a side are kept: sentences may be reworded. The extras (a compass,
an age of the last frame, a turn read off, the history) are made up here, the same each time.
"""

from __future__ import annotations

import dataclasses
import json
import lzma
import re
from collections.abc import Iterator
from enum import Enum
from typing import Any

import numpy as np

from polewright.core.night.events import Ticked
from polewright.core.night.states import Running
from polewright.practice.world import TrueOffset
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.services.magnetic import MagneticDeclination
from polewright.ui.presenting.extras import Extras, FrameNews, ScaleFacts
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import present
from polewright.ui.presenting.proof import score_page
from polewright.ui.view_model import FramePicture, View
from recorded_nights import FOLDER, plain, read_log

SIDES = (
    "east|west|north|south|high|low|up|down|clockwise|anticlockwise|true|magnetic|not yet|none|now|due|overdue|about"
)
KEPT = re.compile(rf"[-+−±]?\d+(?:[.,/]\d+)?|\b(?:{SIDES})\b")
NIGHTS = (
    "accepted", "bumped", "halting", "kicked-tripod", "lessons", "proof-by-drift", "shift-in-the-watch",
    "southern-sky", "spoiled-frames", "walking", "wide-lens", "wrong-clock",
)  # fmt: skip
EVERY = 7  # chosen: of the events that change neither stage nor errand every seventh is looked at
PICTURE = FramePicture("kept.fits", np.zeros((2, 2), np.uint8), np.zeros((1, 2)), np.ones(1, bool), "40", "1 px")


def shown(name: str) -> Iterator[list[Any]]:
    """The moments of a night that are looked at: line of the record, what has changed in the state, the pages."""
    course, history, before, state = Course(), NightHistory(), None, dict[str, Any]()
    for number, (line, event) in enumerate(recorded_events(read_log(name))):
        course.take(event)
        history.take(course.state)
        errand = (course.state.stage, course.advice.errand)
        if errand != before or (number % EVERY == 0 and not isinstance(event, Ticked)):
            before, past, state = errand, state, dict(_leaves(figures(course.state)))
            changed = {name: state.get(name) for name in {**past, **state} if past.get(name) != state.get(name)}
            yield [line.seq, changed, *(figures(view) for view in _views(course, history, number))]


def _leaves(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Every number and word inside, by its place."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else None
    if inside is None:
        yield name, float(f"{value:.7g}") if isinstance(value, float) else value
    for key, item in inside or ():
        if key != "undo":  # the state before once more
            yield from _leaves(item, f"{name}.{key}")


def _views(course: Course, history: NightHistory, number: int) -> Iterator[View]:
    state, later = course.state, 4.0 * (number % 4)
    extras = Extras(
        state.now_s + later,
        news=FrameNews(number, state.now_s - 1.0, PICTURE, scale=ScaleFacts(2.0, 2.0 + 0.1 * (number % 2))),
        history=history,
        magnetic=MagneticDeclination(4.2, 0.4, 19000.0) if number % 2 else MagneticDeclination(-7.0, 0.4, 19000.0),
        read_off=-0.375 if number % 3 == 0 else None,
        by_day=number % 5 == 0,
    )
    view = present(state, course.advice, extras)
    yield view
    if isinstance(state, Running) and state.aligned:
        yield score_page(view, state, TrueOffset(0.4, -0.3), "calm")


def figures(value: object) -> Any:
    """As JSON can hold it: the fields of the window's values that are not as they are made, in their order."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        told = {f.name: getattr(value, f.name) for f in dataclasses.fields(value) if f.compare or f.init}
        return {name: found for name, item in told.items() if (found := figures(item)) not in (None, [], {}, "")}
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, str):
        return " ".join(KEPT.findall(value))
    if isinstance(value, np.ndarray):
        return figures(tuple(value[-3:].tolist()))
    if isinstance(value, tuple):
        return [figures(item) for item in (value[:3] + value[-3:] if len(value) > 12 else value)]
    return value if isinstance(value, bool | int | float | None) else type(value).__name__


def keep_shown(name: str) -> None:
    """Keep what the window shows now: after that has been changed on purpose."""
    text = "\n".join(json.dumps(plain(moment), separators=(",", ":")) for moment in shown(name))
    packed = lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME)
    (FOLDER / f"{name}.shown.xz").write_bytes(packed)


def read_shown(name: str) -> list[Any]:
    """What was shown when it was kept."""
    lines = lzma.decompress((FOLDER / f"{name}.shown.xz").read_bytes()).decode().splitlines()
    return [json.loads(line) for line in lines]
