"""A night that ran away: a turn the wrong way within the backlash, then six turns, then readings that were none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from night_kit import rehearsed
from polewright.core.angles import rotation_about
from polewright.core.budget import Budget, Chance, Part
from polewright.core.night.advice import Do
from polewright.core.night.events import AxisFollowed, FrameSolved, FrameUnsolved
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Stage, begun
from polewright.core.night.witness import proof_confirms
from polewright.core.screws.learning import learn
from polewright.core.screws.memory import ScrewMemory, ScrewMove
from polewright.core.unsolved import AxisLeapt
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events


def test_a_turn_that_moved_nothing_does_not_unlearn_a_rate_that_was_seen() -> None:
    seen = ScrewMove(0.5, -60.42, -14.98, 0.074)  # 91' a turn
    lost = ScrewMove(0.1, -14.96, -14.94, 0.061)
    for moves in ((seen, lost), (seen, lost, lost), (seen, replace(lost, turns=-0.1))):
        rate = learn(ScrewMemory(None, moves, bends=True))
        assert rate is not None
        assert rate.arcmin_per_turn == pytest.approx(91.0, rel=0.4)


def test_a_frame_that_cannot_be_followed_is_no_reading_and_sends_back_to_the_capture() -> None:
    night = rehearsed("calm", 3)
    course = Course()
    for line, event in recorded_events(night.log):
        for effect in course.take(event):
            course.answer(effect, line.t_s)
        if isinstance(event, AxisFollowed):
            break
    assert course.state.stage in (Stage.ROUGH, Stage.FINE)
    readings = course.state.rest.readings
    frame = course.state.last_frame
    assert frame is not None
    (effect,) = course.take(FrameSolved(course.state.now_s + 3.0, raised(frame, math.radians(9.5))))
    answer = course.answer(effect, course.state.now_s)
    assert isinstance(answer, FrameUnsolved) and isinstance(answer.why, AxisLeapt)
    course.take(answer)
    assert course.state.rest.readings == readings
    assert course.advice.action is Do.GO_BACK


def raised(frame: PlacedFrame, angle_rad: float) -> PlacedFrame:
    """The frame of a mount whose altitude screw has been turned by far too much."""
    turned = rotation_about(np.array([1.0, 0.0, 0.0]), angle_rad) @ np.array(frame.camera_to_enu)
    rows = tuple((float(a), float(b), float(c)) for a, b, c in turned)
    return replace(frame, name="raised", utc_mid=frame.utc_mid.plus_seconds(3.0), camera_to_enu=rows)  # type: ignore[arg-type]


def test_a_second_turn_that_knows_nothing_proves_nothing() -> None:
    """A tripod kicked in the middle of the proof: the frames disagree, the axis is good to a quarter degree."""
    state = rehearsed("calm", 3).engine.state
    axis = state.proof.axis
    assert axis is not None and proof_confirms(begun(state))
    variance = math.radians(0.25) ** 2
    nothing = ((variance, 0.0), (0.0, variance))
    unsure = replace(axis, covariance_rad2=nothing, budget=Budget((Chance(Part.SETTLING, nothing),)))
    assert not proof_confirms(replace(begun(state), proof=replace(state.proof, axis=unsure)))
