"""Rows of the night's table for a drift that is watched: in the capture's place, or as the proof."""

from __future__ import annotations

from polewright.core.night import workflow_actions as do
from polewright.core.night.drift_actions import (
    believe_drift,
    by_drift,
    drift_confirms,
    drift_contradicts,
    follow_from_drift,
    keep_drift,
    keep_drift_frame,
    known_by_drift,
    leave_drift,
    may_leave_drift,
    note_drift_refusal,
    prove_by_drift,
    sure_by_drift,
    take_drift,
    watch_anew,
    watch_drift,
)
from polewright.core.night.events import (
    BackAsked,
    DriftAsked,
    DriftMeasured,
    DriftRefused,
    FrameSolved,
    NextAsked,
    RestartAsked,
)
from polewright.core.night.rows import Row, axis_near
from polewright.core.night.states import NightState, Stage

C, R, F, P = Stage.CAPTURE, Stage.ROUGH, Stage.FINE, Stage.PROOF


def known_by_drift_and_near(state: NightState) -> bool:
    """The drift tells both components, and that the axis is near the pole already."""
    return known_by_drift(state) and axis_near(state)


def sure_by_drift_and_near(state: NightState) -> bool:
    """The drift is sure and says that the axis is near the pole already."""
    return sure_by_drift(state) and axis_near(state)


DRIFT_AS_CAPTURE: tuple[Row, ...] = (
    Row(C, DriftAsked, C, watch_drift),
    Row(C, FrameSolved, C, do.nothing, by_drift, "by drift", keep_drift_frame),
    Row(C, DriftMeasured, F, take_drift, sure_by_drift_and_near, "sure, near the pole", follow_from_drift),
    Row(C, DriftMeasured, R, take_drift, sure_by_drift, "sure", follow_from_drift),
    Row(C, DriftMeasured, C, take_drift),
    Row(C, DriftRefused, C, note_drift_refusal),
    Row(C, NextAsked, F, do.nothing, known_by_drift_and_near, "by drift, near the pole", follow_from_drift),
    Row(C, NextAsked, R, do.nothing, known_by_drift, "by drift", follow_from_drift),
    Row(C, BackAsked, C, do.nothing, may_leave_drift, "by drift", leave_drift),
    Row(C, RestartAsked, C, do.nothing, by_drift, "by drift", watch_anew),
)
DRIFT_AS_PROOF: tuple[Row, ...] = (
    Row(P, DriftAsked, P, watch_drift),
    Row(P, FrameSolved, P, do.nothing, by_drift, "by drift", keep_drift_frame),
    Row(P, DriftMeasured, P, take_drift, drift_confirms, "inside the tolerance", prove_by_drift),
    Row(P, DriftMeasured, P, take_drift, drift_contradicts, "outside the tolerance", keep_drift),
    Row(P, DriftMeasured, P, take_drift),
    Row(P, DriftRefused, P, note_drift_refusal),
    Row(P, NextAsked, F, do.nothing, known_by_drift, "by drift", believe_drift),
    Row(P, BackAsked, P, do.nothing, may_leave_drift, "by drift", leave_drift),
    Row(P, RestartAsked, P, do.nothing, by_drift, "by drift", watch_anew),
)
