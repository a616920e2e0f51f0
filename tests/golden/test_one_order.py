"""Over recorded nights: the hands are asked for one thing at a time, whatever else the page tells."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator

import pytest

from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import present
from polewright.ui.view_model import View
from recorded_nights import read_log

HANDS = "Point|Rotate|Turn|Ease|Nudge|Tighten|Loosen|Hands off|Leave the mount alone|Watch the screws"
ORDER = re.compile(rf"(?:^|[.:;] )({HANDS})\b")
SAID_ELSEWHERE = ("actions", "form", "instruction")  # what keys do; the cautions beneath the sentence


def orders(text: str) -> set[str]:
    """The verbs of what hands are asked to do, each at the beginning of a sentence."""
    return {verb.replace("Leave the mount alone", "Hands off") for verb in ORDER.findall(text)}


def texts(value: object) -> Iterator[str]:
    """Every text inside."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from texts(item)
    elif dataclasses.is_dataclass(value):
        for found in dataclasses.fields(value):
            if found.name not in SAID_ELSEWHERE:
                yield from texts(getattr(value, found.name))


def ordered(view: View) -> set[str]:
    """Everything that hands are asked for on this page."""
    said = view.instruction
    return {verb for text in (said.sentence, said.reason, said.gain, *texts(view)) for verb in orders(text)}


def moments(name: str) -> Iterator[View]:
    """Every page of the night on which another thing is said, or another frame has failed."""
    course, history, before = Course(), NightHistory(), None
    for _, event in recorded_events(read_log(name)):
        course.take(event)
        history.take(course.state)
        seen = (course.advice.errand, course.state.trouble, course.state.stage)
        if seen != before:
            before = seen
            yield present(course.state, course.advice, Extras(course.state.now_s, history=history))


@pytest.mark.parametrize("name", ["first-night", "kicked-tripod", "proof-by-drift", "spoiled-frames", "walking"])
def test_never_two_orders_at_once(name: str) -> None:
    seen = 0
    for view in moments(name):
        seen += bool(orders(view.instruction.sentence))
        assert len(ordered(view)) <= 1, view.instruction
    assert seen > 10, "orders are known when they are seen"
