"""Frames of a turn are kept until they tell the axis."""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.night.actions import Outcome, begin_following, drop_capture, estimate, see_frame
from polewright.core.night.drifting.actions import known_by_drift, sure_by_drift
from polewright.core.night.effects import Objection, Refused
from polewright.core.night.events import AxisMeasured, AxisRefused, FrameSolved
from polewright.core.night.states import Running
from polewright.core.night.turning.places import PLACES_WANTED, answers, keep_frame, places
from polewright.core.offset import Offset

CAPTURE_SHARE = 1.0 / 3.0  # of the tolerance: a capture this sure needs no further rotation


# actions


def keep_capture_frame(state: Running, event: FrameSolved) -> Outcome:
    """Keeps a frame of the turn; asks for the axis once there are two places."""
    state, _ = see_frame(state, event)
    kept = keep_frame(state.capture, event.frame)
    fresh = kept is not state.capture
    state = replace(state, capture=kept)
    return state, estimate(state, kept) if fresh else ()


def take_axis(state: Running, event: AxisMeasured) -> Outcome:
    """The axis of the capture, as known so far."""
    if not answers(state.capture, event.axis):
        return state, (Refused(Objection.AXIS_SET_ASIDE),)
    return replace(state, capture=replace(state.capture, axis=event.axis, refusal=None)), ()


def take_axis_and_follow(state: Running, event: AxisMeasured) -> Outcome:
    """The axis of the capture, good enough to follow the screws from."""
    taken, effects = take_axis(state, event)
    if effects:
        return state, effects
    return begin_following(taken, event)


def note_refusal(state: Running, event: AxisRefused) -> Outcome:
    """The frames do not support an axis yet."""
    return replace(state, capture=replace(state.capture, refusal=event.why)), ()


def reopen_capture(state: Running, event: object) -> Outcome:
    """Back to the capture: its frames stay good as long as nothing was turned since."""
    return (state, ()) if not state.rest.readings and not state.handling.reports else drop_capture(state, event)


# guards


def axis_known(state: Running) -> bool:
    """A capture has given an axis."""
    return state.capture.axis is not None


def axis_sure(state: Running) -> bool:
    """The capture is as sure as tonight's tolerance needs, and has a check."""
    axis = state.capture.axis
    if axis is None or axis.suspect is not None or len(places(state.capture)) < PLACES_WANTED:
        return False
    offset = Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2)
    return offset.sigma_rad <= CAPTURE_SHARE * state.plan.tolerance_rad


def sure_and_near(state: Running) -> bool:
    """The capture is sure and says that the axis is near the pole already."""
    return axis_sure(state) and axis_near(state)


def axis_near(state: Running) -> bool:
    """The capture says that the axis is near the pole already."""
    axis = state.capture.axis
    return axis is not None and math.hypot(axis.east_rad, axis.up_rad) <= state.plan.fine_limit_rad


def near_by_drift(state: Running) -> bool:
    """The drift tells both components, and that the axis is near the pole already."""
    return known_by_drift(state) and axis_near(state)


def sure_near_by_drift(state: Running) -> bool:
    """The drift is sure and says that the axis is near the pole already."""
    return sure_by_drift(state) and axis_near(state)
