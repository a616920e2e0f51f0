"""Simulated hands: every instruction has its deed, and the deed does to the mount what was asked."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np
import pytest

from polewright.core.night import advice as said
from polewright.core.night import events
from polewright.core.night.events import NOW
from polewright.core.night.states import NightState
from polewright.core.screws.angles import Screw
from polewright.core.sky.places import default_target
from polewright.practice.deeds import turn_screw
from polewright.practice.fingers import CAREFUL, Fingers, Habits, by_hand
from polewright.practice.hand import Screen, Seat
from polewright.practice.told_hand import ToldHand
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine

EXACT = Habits(turn_error=0.0, reading_error=None, miscounts=0.0, forgets=0.0, rotation_error=0.0, wrong_way=0.0)
ACTIONS: tuple[said.Action, ...] = (
    *said.Do,
    said.Turn(Screw.AZIMUTH, 0.5),
    said.RotateAxis(40.0),
    said.Point(-1.5, 45.0),
    said.Wait(),
    said.SetUp(0.0, 52.0),
    said.Expose(2.0),
    said.Done(True),
)


def fingers(habits: Habits = EXACT) -> Fingers:
    return Fingers(habits, np.random.default_rng(7))


def test_every_kind_of_action_is_tried() -> None:
    assert {type(action) for action in ACTIONS} == set(said.Action.__args__)


@pytest.mark.parametrize("action", ACTIONS, ids=str)
def test_hands_have_an_answer_to_all_that_they_are_offered_for(action: said.Action) -> None:
    """`Do it for me` is shown where `by_hand` says so: it must never be a dead button."""
    answer = fingers().answer(action)
    if by_hand(action):
        assert answer is not None
        done = answer.deed(RehearsalWorld("calm", 3))
        assert done.text and done.seconds > 0.0


def test_a_hand_that_has_no_answer_looks_at_the_screen_again() -> None:
    world, shown = RehearsalWorld("calm", 3), [said.Plainly.SITE_UNKNOWN]
    pressed: list[events.AnyEvent] = []
    seat = Seat(world, cast(NightEngine, None), lambda: None)
    state = cast(NightState, None)
    seat.look = lambda: Screen(state, said.Advice(shown[0]), world.clock.monotonic_s())  # type: ignore[method-assign]
    seat.tell = lambda text: None  # type: ignore[method-assign]
    seat.press = lambda event: pressed.append(event)  # type: ignore[method-assign]
    ToldHand(seat, 3, EXACT).begin()
    world.clock.advance(30.0)
    shown[0] = said.Plainly.AXIS_UNKNOWN
    world.clock.advance(30.0)
    assert pressed == [events.BackAsked(NOW)]


def test_a_refocused_camera_has_sharp_stars() -> None:
    world = RehearsalWorld("calm", 3)
    night = world.rig.night
    world.rig.night = replace(night, scenario=replace(night.scenario, defocus_px=9.0))
    answer = fingers().answer(said.Do.REFOCUS)
    assert answer is not None
    answer.deed(world)
    assert world.rig.night.scenario.defocus_px == 0.0


def test_an_exact_hand_turns_as_told_and_says_so() -> None:
    answer = fingers().answer(said.Turn(Screw.ALTITUDE, -0.25))
    assert answer is not None
    assert answer.moved == -0.25 and answer.says == events.ScrewTurned(NOW, Screw.ALTITUDE, None)


def test_careful_hands_err_by_eight_percent_and_never_the_wrong_way() -> None:
    hands = fingers(CAREFUL)
    made = []
    for _ in range(400):
        answer = hands.answer(said.Turn(Screw.AZIMUTH, 1.0))
        assert answer is not None and isinstance(answer.says, events.ScrewTurned)
        made.append(answer.moved)
    assert min(made) >= 0.8 and max(made) <= 1.2  # nobody errs by more than 2.5 sigmas
    assert np.std(made) == pytest.approx(0.08, rel=0.15)


def test_the_locks_are_tight_before_it_is_said() -> None:
    """Frames have seen it by then: tightening shifts the axis of this mount."""
    world = RehearsalWorld("calm", 3)  # whose azimuth lock shifts the axis by 0.58' at the screw, once it was turned
    turn_screw(Screw.AZIMUTH, 0.5)(world)
    world.clock.advance(60.0)
    before = world.true_offset(default_target(world.site))
    answer = fingers().answer(said.Do.LOCK)
    assert answer is not None and answer.says == events.BaseLocked(NOW)
    done = answer.deed(world)
    world.clock.advance(done.seconds - 1.0)
    after = world.true_offset(default_target(world.site))
    assert abs(after.east_arcmin - before.east_arcmin) + abs(after.up_arcmin - before.up_arcmin) > 0.3
