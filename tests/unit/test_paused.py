"""What a pause lets through, event by event: the sky's words are put aside, those of the person count."""

from __future__ import annotations

import pytest

from direction_nights import CASES, DirectionNight
from frame_reasons import FEW
from polewright.core.model import TargetPole
from polewright.core.night import events as ev
from polewright.core.night.effects import Objection, Refused
from polewright.core.night.states import Running
from polewright.core.night.table import step
from polewright.core.screws.angles import Screw


@pytest.fixture(scope="module")
def paused() -> tuple[Running, DirectionNight]:
    """A night at the screws, paused."""
    night = DirectionNight(CASES[0]).learned()
    state, effects = step(night.state, ev.PauseAsked(night.now_s + 1.0))
    assert isinstance(state, Running) and state.paused and not effects
    return state, night


def test_frames_and_what_follows_from_them_are_put_aside(paused: tuple[Running, DirectionNight]) -> None:
    state, night = paused
    seen = [e for e in night.events if isinstance(e, ev.FrameSolved | ev.AxisFollowed)]
    unsolved = ev.FrameUnsolved(1.0, "x", FEW)
    for event in (seen[-1], seen[-2], unsolved):
        after, effects = step(state, event)
        assert after is state and effects == (Refused(Objection.PAUSED),)
    assert {type(e) for e in seen[-2:]} == {ev.FrameSolved, ev.AxisFollowed}


@pytest.mark.parametrize(
    "event",
    [
        ev.ScrewTurned(0.0, Screw.AZIMUTH, 0.25),
        ev.BaseLocked(0.0),
        ev.NextAsked(0.0),
        ev.BackAsked(0.0),
        ev.RestartAsked(0.0),
        ev.TripodBumped(0.0),
        ev.ToleranceChanged(0.0, 2e-4),
        ev.TargetChanged(0.0, TargetPole.REFRACTED, 0.9),
        ev.TrackingSwitched(0.0, True),
        ev.Ticked(0.0),
    ],
    ids=lambda event: type(event).__name__,
)
def test_words_of_the_person_count_and_the_pause_goes_on(
    event: ev.AnyEvent, paused: tuple[Running, DirectionNight]
) -> None:
    state, _ = paused
    after, effects = step(state, event)
    assert not any(isinstance(effect, Refused) for effect in effects)
    assert after.paused


def test_only_resuming_ends_a_pause(paused: tuple[Running, DirectionNight]) -> None:
    state, night = paused
    again, effects = step(state, ev.PauseAsked(night.now_s + 2.0))
    assert again is state and any(isinstance(effect, Refused) for effect in effects)
    resumed, effects = step(state, ev.ResumeAsked(night.now_s + 2.0))
    assert not resumed.paused and not effects
    assert any(isinstance(e, Refused) for e in step(resumed, ev.ResumeAsked(night.now_s + 3.0))[1])
