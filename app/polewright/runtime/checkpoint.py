"""The course of a night as plain values and back, exact to the last bit: what stands in a checkpoint.

Only where no answer is due (between two events from outside) is a course whole: the state, and what following has
carried on from frame to frame.
"""

from __future__ import annotations

import dataclasses
import typing
from typing import Any

import numpy as np

from polewright.core.axis.following import FollowState
from polewright.core.errors import RecordingError
from polewright.core.night.states import Running
from polewright.core.plain import from_plain, from_plain_as, to_plain
from polewright.runtime.course import Course

ARRAY = "array"


def course_to_plain(course: Course) -> dict[str, Any] | None:
    """None before the night has begun: then there is nothing to save."""
    if not isinstance(course.state, Running):
        return None
    following = course.following
    return {
        "night": to_plain(course.state),
        "following": None if following is None else _arrays_to_plain(following),
    }


def take_up(course: Course, kept: dict[str, Any]) -> bool:
    """Bring a fresh course to where it stood; False, with the course fresh, where these values describe none."""
    try:
        state = from_plain(Running, kept["night"])
        following = None if kept["following"] is None else _arrays_from_plain(FollowState, kept["following"])
    except (RecordingError, KeyError, TypeError, ValueError):
        return False
    course.begin_again()
    course.state, course.following = state, following
    return True


def _arrays_to_plain(value: object) -> Any:
    """As `to_plain`, for dataclasses that hold arrays."""
    if isinstance(value, np.ndarray):
        return {ARRAY: value.tolist()}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: _arrays_to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    return to_plain(value)


def _arrays_from_plain(hint: Any, data: Any) -> Any:
    if isinstance(data, dict) and data.keys() == {ARRAY}:
        return np.array(data[ARRAY], dtype=np.float64)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type) and isinstance(data, dict):
        hints = typing.get_type_hints(hint)
        return hint(**{name: _arrays_from_plain(hints[name], value) for name, value in data.items()})
    return from_plain_as(hint, data, "the checkpoint")
