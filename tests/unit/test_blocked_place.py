"""A place without stars where there were stars before: turn back, and another place is chosen."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from frame_reasons import reason_of
from paper_night import PaperNight
from polewright.core.angles import turned_about
from polewright.core.model import Site, SkyPosition, TargetPole
from polewright.core.night import advice as says
from polewright.core.night.advise import advise
from polewright.core.night.events import (
    AnyEvent,
    AxisMeasured,
    FrameSolved,
    FrameUnsolved,
    NextAsked,
    NightStarted,
    Ticked,
)
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.night.states import NightState, Running, SecondSky, Stage, Waiting, begun
from polewright.core.night.table import step
from polewright.core.night.turning.blocked import _obstacle
from polewright.core.plan.sky_choice import behind, horizontal_deg
from polewright.core.unsolved import FrameTrouble
from polewright.words.coach import say

ARCSEC = math.radians(1.0 / 3600.0)


def after(state: NightState, *events: AnyEvent) -> NightState:
    for event in events:
        state, _ = step(state, event)
    return state


def turning() -> tuple[NightState, PaperNight]:
    """A capture in a field at latitude 52 whose first place is measured."""
    started = NightStarted(0.0, Site(52.0, 10.0), TargetPole.TRUE, math.radians(52.0), 30.0 * ARCSEC)
    night = PaperNight(3)
    night.theta = math.radians(-30.0)
    return after(Waiting(), started, NextAsked(1.0), FrameSolved(10.0, night.placed("a"))), night


def beside(frame: PlacedFrame) -> PlacedFrame:
    """As a hand comes back: half a degree beside."""
    return replace(frame, centre=SkyPosition(frame.centre.ra_deg + 0.5, frame.centre.dec_deg))


def starless(state: NightState, seconds: float, why: FrameTrouble = FrameTrouble.NO_STARS) -> NightState:
    """Frames without stars every three seconds, for so long; the first is smeared by the turn."""
    reason = FrameUnsolved(state.now_s + 1.0, "turning", reason_of(FrameTrouble.TRAILED))
    state = after(state, reason)
    for _ in range(math.ceil(seconds / 3.0)):
        state = after(state, FrameUnsolved(state.now_s + 3.0, f"x{state.now_s}", reason_of(why)))
    return state


def test_where_no_stars_are_after_a_turn_one_is_led_back() -> None:
    state, _ = turning()
    asked = advise(state).action
    assert isinstance(asked, says.RotateAxis)
    advice = advise(starless(state, 50.0))
    assert advice.action == says.RotateAxis(-asked.west_deg)
    assert "turn back" in say(advice).why


def test_streaks_of_stars_are_no_dark_sky() -> None:
    """A hand that takes a minute to point elsewhere: as many objects as before, but no pattern."""
    state, _ = turning()
    stars = begun(state).last_frame
    assert stars is not None
    for number in range(20):
        why = reason_of(FrameTrouble.NO_MATCH)
        state = after(state, FrameUnsolved(state.now_s + 3.0, f"{number}", why, stars.stars_matched))
    assert not isinstance(advise(state).reason, says.NothingThere)


def test_frames_that_wait_to_be_measured_do_not_lengthen_the_dark() -> None:
    """Ten seconds of a turn, measured by a busy computer in a minute: nobody is told to turn back."""
    state, _ = turning()
    for number in range(7):
        state = after(state, Ticked(state.now_s + 9.0, measuring=True))
        dark = FrameUnsolved(state.now_s, f"{number}", reason_of(FrameTrouble.NO_STARS), landed_s=12.0 + 1.5 * number)
        state = after(state, dark)
        assert not isinstance(advise(state).reason, says.NothingThere | says.Clouds)


def test_the_frames_smeared_on_the_way_back_change_nothing() -> None:
    state, _ = turning()
    smeared = FrameUnsolved(80.0, "back", reason_of(FrameTrouble.TRAILED))
    assert isinstance(advise(after(starless(state, 50.0), smeared)).reason, says.NothingThere)


@pytest.mark.parametrize("way_back_s", [15.0, 30.0])
def test_a_slow_way_there_and_back_strikes_the_place_all_the_same(way_back_s: float) -> None:
    """A mount pointed for half a minute smears as many frames as are dark then: with those of the way back dark ones
    were the fewer, the place was not struck, and was asked for all night (rehearsal no-pole-view, told hand, 603)."""
    state, night = turning()
    state = _smeared(state, 36.0)
    state = starless(state, 42.0)
    assert isinstance(advise(state).reason, says.NothingThere)
    state = _smeared(state, way_back_s)
    assert isinstance(advise(state).reason, says.NothingThere)
    state = after(state, FrameSolved(state.now_s + 3.0, beside(night.placed("b"))))
    assert len(begun(state).plan.obstacles) == 1


def _smeared(state: NightState, seconds: float) -> NightState:
    for _ in range(math.ceil(seconds / 3.0)):
        smeared = FrameUnsolved(state.now_s + 3.0, f"s{state.now_s}", reason_of(FrameTrouble.TRAILED))
        state = after(state, smeared)
    return state


def test_with_the_stars_back_another_place_is_asked_for() -> None:
    """The place is an obstacle from now on: a smaller step that way, or the other way, never the same again."""
    state, night = turning()
    first = advise(state).action
    state = after(starless(state, 50.0), FrameSolved(75.0, beside(night.placed("b"))))
    again = advise(state).action
    assert isinstance(first, says.RotateAxis) and isinstance(again, says.RotateAxis)
    assert len(begun(state).plan.obstacles) == 1
    assert again.west_deg * first.west_deg < 0.0 or abs(again.west_deg) <= 0.6 * abs(first.west_deg)


def test_a_cloud_before_anybody_has_turned_strikes_nothing() -> None:
    state, night = turning()
    first = advise(state).action
    state = after(starless(state, 50.0), FrameSolved(75.0, night.placed("b")))
    assert begun(state).plan.obstacles == () and advise(state).action == first


def test_stars_at_the_new_place_strike_nothing() -> None:
    """A cloud that has passed: the turn went where it was asked."""
    state, night = turning()
    night.theta -= math.radians(40.0)
    state = after(starless(state, 50.0), FrameSolved(75.0, night.placed("b")))
    assert begun(state).plan.obstacles == ()


@pytest.mark.parametrize("seconds", [20.0, 200.0])
def test_shorter_it_is_the_turn_and_longer_it_is_clouds(seconds: float) -> None:
    state, night = turning()
    dark = starless(state, seconds)
    assert isinstance(advise(dark).reason, says.Clouds) is (seconds > 100.0)
    lit = after(dark, FrameSolved(dark.now_s + 3.0, night.placed("b")))
    assert begun(lit).plan.obstacles == ()


def test_turned_back_later_the_place_is_struck_all_the_same() -> None:
    """Behind a house for longer than anybody is led back: the same place is not asked for again and again."""
    state, night = turning()
    first = advise(state).action
    dark = starless(state, 400.0)
    assert advise(dark).reason == says.Clouds(dark.now_s - begun(dark).trouble.since_s, turned=True)
    assert "stands in the way" in say(advise(dark)).gain
    lit = after(dark, FrameSolved(dark.now_s + 3.0, beside(night.placed("b"))))
    assert len(begun(lit).plan.obstacles) == 1 and advise(lit).action != first


def test_a_mount_that_drifts_behind_a_long_cloud_was_not_turned_back() -> None:
    """Three degrees beside the pole it is carried away by up to 0.8" a second (15" a second times the error)."""
    state, night = turning()
    dark = starless(state, 1200.0)
    frame = night.placed("b")
    carried = replace(frame, centre=SkyPosition(frame.centre.ra_deg, frame.centre.dec_deg + 0.79 * 1200.0 / 3600.0))
    assert begun(after(dark, FrameSolved(dark.now_s + 3.0, carried))).plan.obstacles == ()


@pytest.mark.parametrize("from_pole_deg", [3.0, 8.0, 20.0])
def test_what_is_struck_never_covers_the_stars_that_are_seen(from_pole_deg: float) -> None:
    """Near the pole a turn of forty degrees is a small step on the sky, and a wall of 44 degrees would reach back."""
    state, _ = turning()
    pole, tilt = begun(state).plan.pole, math.radians(from_pole_deg)
    looks = math.cos(tilt) * pole + math.sin(tilt) * np.array([0.8, 0.6 * pole[2], -0.6 * pole[1]])
    seen = spot_of(looks)
    for turn in (-40.0, 40.0):
        asked = spot_of(turned_about(pole, looks, np.array([math.radians(turn)]))[0])
        obstacle = _obstacle(asked, seen)
        assert behind(obstacle, *asked) and not behind(obstacle, *seen)


def spot_of(direction: np.ndarray) -> np.ndarray:
    east, north, up = direction
    return np.degrees([math.asin(up), math.atan2(east, north)])


def test_frames_that_fail_otherwise_lead_nowhere() -> None:
    state, _ = turning()
    assert not isinstance(advise(starless(state, 50.0, FrameTrouble.OUT_OF_FOCUS)).reason, says.NothingThere)


def proving() -> tuple[Running, PaperNight]:
    """In the proof, sent to another sky."""
    state, night = turning()
    for index in (1, 2):
        night.theta = math.radians(-30.0 - 40.0 * index)
        state = after(state, FrameSolved(20.0 + index, night.placed(f"c{index}")))
    variance = (4.0 * ARCSEC) ** 2
    names = tuple(frame.name for frame in state.capture.frames)
    axis = MeasuredAxis(0.0, 0.0, ((variance, 0.0), (0.0, variance)), frames=names)
    running = begun(after(state, AxisMeasured(30.0, axis)))
    return replace(running, stage=Stage.PROOF, second_sky=SecondSky(2.0, 40.0, 15.0, 0.0)), night


def test_one_is_led_back_from_another_sky_too_and_it_is_struck() -> None:
    state, night = proving()
    dark = starless(state, 60.0)
    assert isinstance(advise(dark).action, says.Point)
    assert "turn back" in say(advise(dark)).why
    lit = begun(after(dark, FrameSolved(dark.now_s + 3.0, beside(night.placed("back")))))
    altitude, azimuth = horizontal_deg(lit.plan.site, np.array([2.0]), 40.0)
    assert behind(lit.plan.obstacles[-1], altitude, azimuth).all()
    sky = lit.second_sky
    assert sky is None or (sky.hour_angle_h, sky.declination_deg) != (2.0, 40.0)


def test_a_proof_without_room_ends_with_what_is_known() -> None:
    assert says.Advice(says.NoRoom(Stage.PROOF)).action is says.Do.ACCEPT
