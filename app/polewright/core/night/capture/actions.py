"""From the turn to the screws: when its axis is known, and sure enough to follow."""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.night.actions import (
    Outcome,
    begin_following,
    drop_capture,
    estimate,
    note_refusal,
    take_axis,
    with_shaking,
)
from polewright.core.night.drifting.actions import known_by_drift, sure_by_drift
from polewright.core.night.events import AxisMeasured, AxisRefused
from polewright.core.night.states import Running
from polewright.core.night.turning.places import PLACES_WANTED, contradicted, places, without_first_place

CAPTURE_SHARE = 1.0 / 3.0  # of the tolerance: a capture this sure needs no further rotation


# actions


def take_axis_and_follow(state: Running, event: AxisMeasured) -> Outcome:
    """The axis of the capture, good enough to follow the screws from."""
    taken, effects = take_axis(state, event)
    if effects:
        return state, effects
    return begin_following(with_shaking(taken, taken.capture), event)


def doubt_places(state: Running, event: AxisRefused) -> Outcome:
    """The frames support no axis. Where three places cannot be of one turn the telescope was pointed after the first:
    it is left out, once."""
    noted, effects = note_refusal(state, event)
    if not contradicted(noted.capture):
        return noted, effects
    if noted.capture.left_out:
        return noted.with_turn(replace(noted.capture, axis=None)), effects
    later = without_first_place(noted.capture)
    return noted.with_turn(later), estimate(noted, later)


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
    return axis.chance_sigma_rad <= CAPTURE_SHARE * state.plan.tolerance_rad


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
