"""What is no place of a turn: one measured before the telescope was pointed, and streaks drawn while it was turned.

The frames are of a perfect turn about an axis 2.7 degrees off the pole; only the first place has another declination.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import numpy as np
import pytest

from polewright.core.angles import rotation_about, unit
from polewright.core.model import Camera, FloatArray, Matrix, Site, SkyPosition, TargetPole, Utc
from polewright.core.night import advice as says
from polewright.core.night.advice import PlaceWanted
from polewright.core.night.advise import advise
from polewright.core.night.events import FrameSolved, NextAsked, NightStarted
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Capture, Running, Stage, begun
from polewright.core.night.witness import turned_over
from polewright.runtime.course import Course
from polewright.words.coach import say

SITE = Site(52.3, 3.0)
UPRIGHT = np.array([0.0, math.cos(math.radians(52.3)), math.sin(math.radians(52.3))])
EAST = np.array([1.0, 0.0, 0.0])
LESS_SURE = 30.0  # times: of streaks in rendered frames 38 to 120 times the sigmas of frames at rest (measured)
AXIS = unit(rotation_about(EAST, math.radians(-0.2)) @ rotation_about(np.array([0.0, 0.0, 1.0]), 0.077) @ UPRIGHT)


def placed(name: str, turned_deg: float, from_axis_deg: float) -> PlacedFrame:
    """A frame that far from the axis, with the RA axis turned so far."""
    side = unit(np.cross(AXIS, EAST))
    tilt = math.radians(from_axis_deg)
    z = math.cos(tilt) * AXIS + math.sin(tilt) * side
    x = unit(np.cross(AXIS, z))
    base = np.stack([x, np.cross(z, x), z], axis=1)
    rows: FloatArray = rotation_about(AXIS, math.radians(turned_deg)) @ base
    utc = Utc(2461000.5, 0.8 + int(name) * 1e-4)
    tiny = ((1e-12, 0.0, 0.0), (0.0, 1e-12, 0.0), (0.0, 0.0, 1e-8))
    matrix = cast(Matrix, tuple(tuple(float(v) for v in row) for row in rows))
    return PlacedFrame(name, utc, matrix, tiny, Camera(1280, 960, 9900.0), 40, 1.0, SkyPosition(0.0, 50.0))


def captured(*turns: tuple[float, float]) -> Course:
    course = Course()
    started = NightStarted(0.0, SITE, TargetPole.TRUE, math.radians(52.3), 1.5e-4, at_rest=True)
    for event in (started, NextAsked(1.0)):
        course.take(event)
    for number, (turned_deg, from_axis_deg) in enumerate(turns):
        post(course, FrameSolved(10.0 + 20.0 * number, placed(str(number), turned_deg, from_axis_deg)))
    return course


def post(course: Course, event: FrameSolved) -> None:
    waiting = list(course.take(event))
    while waiting:
        answer = course.answer(waiting.pop(0), event.at_s)
        if answer is not None:
            waiting += course.take(answer)


def off_deg(state: Running) -> float:
    axis = state.capture.axis
    return math.nan if axis is None else math.degrees(math.hypot(axis.east_rad, axis.up_rad))


@pytest.mark.parametrize("moved_deg", [2.5, 5.0, 12.0, 30.0])
def test_a_first_place_before_the_telescope_was_pointed_is_left_out(moved_deg: float) -> None:
    course = captured((0.0, 13.0), (70.0, 13.0 + moved_deg), (30.0, 13.0 + moved_deg))
    state = begun(course.state)
    assert state.capture.left_out
    assert [frame.name for frame in state.capture.frames] == ["1", "2"]
    assert off_deg(state) == pytest.approx(2.7, abs=0.1)
    reason = course.advice.reason
    assert isinstance(reason, PlaceWanted) and reason.left_out
    assert "first place" in say(course.advice).why


def test_a_third_place_of_the_new_turn_leads_to_the_screws() -> None:
    course = captured((0.0, 13.0), (70.0, 25.0), (30.0, 25.0), (-10.0, 25.0))
    state = begun(course.state)
    assert state.stage is Stage.ROUGH and off_deg(state) == pytest.approx(2.7, abs=0.1)


def test_places_that_never_agree_are_said_and_not_asked_for_for_ever() -> None:
    course = captured((0.0, 13.0), (70.0, 25.0), (30.0, 40.0), (-10.0, 55.0), (-50.0, 20.0))
    state = begun(course.state)
    reason = advise(state).reason
    assert isinstance(reason, says.DoesNotFit), "no further rotation is asked for"
    assert state.capture.axis is None, "an axis that the frames no longer support is not shown"


def test_a_turn_of_the_ra_axis_alone_leaves_nothing_out() -> None:
    course = captured((0.0, 25.0), (40.0, 25.0))
    assert not begun(course.state).capture.left_out
    assert begun(replace(begun(course.state))).capture.axis is not None


def unsure(name: str, turned_deg: float, from_axis_deg: float) -> FrameSolved:
    frame = placed(name, turned_deg, from_axis_deg)
    wide = tuple(tuple(LESS_SURE**2 * v for v in row) for row in frame.covariance_rad2)
    return FrameSolved(10.0 + 20.0 * int(name), replace(frame, covariance_rad2=wide))  # type: ignore[arg-type]


def names(course: Course) -> list[str]:
    return [frame.name for frame in begun(course.state).capture.frames]


def test_a_streak_in_the_middle_of_the_turn_is_left_out() -> None:
    course = captured((0.0, 40.0), (0.0, 40.0))
    post(course, unsure("2", 14.0, 40.2))
    post(course, unsure("3", 19.0, 39.7))
    for number in (4, 5):
        post(course, FrameSolved(10.0 + 20.0 * number, placed(str(number), 42.0, 40.0)))
    assert names(course) == ["0", "1", "4", "5"]
    assert off_deg(begun(course.state)) == pytest.approx(2.7, abs=0.02)


def test_thin_cloud_over_a_place_leaves_it_a_place() -> None:
    """Two frames in a row that look the same way are at rest, however few stars they show."""
    course = captured((0.0, 40.0), (0.0, 40.0))
    post(course, unsure("2", 42.0, 40.0))
    assert names(course) == ["0", "1"]
    post(course, unsure("3", 42.0, 40.0))
    assert names(course) == ["0", "1", "3"]
    assert not math.isnan(off_deg(begun(course.state)))


@pytest.mark.parametrize("from_axis_deg", [5.0, 50.0, 89.0])
def test_a_telescope_on_the_other_side_of_its_pier_has_the_axis_on_the_other_side_of_the_picture(
    from_axis_deg: float,
) -> None:
    """Turned about the RA axis alone it keeps it where it was, however far; turned over it does not."""
    before = placed("1", 0.0, from_axis_deg)
    for turned_deg in (0.0, 45.0, 170.0):
        same = placed("2", turned_deg, from_axis_deg)
        over = replace(same, camera_to_enu=cast(Matrix, tuple((-x, -y, z) for x, y, z in same.camera_to_enu)))
        for proof, expected in (((same,), False), ((over,), True), ((), False)):
            state = replace(begun(captured().state), capture=Capture(frames=(before,)), proof=Capture(frames=proof))
            assert turned_over(state) is expected
