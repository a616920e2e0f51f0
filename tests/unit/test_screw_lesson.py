"""A lesson on one screw: what it asks for, when it is over, what it teaches. Screws and nights are invented."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from paper_night import PaperNight
from polewright.core.night.advice import Turn
from polewright.core.night.advise import advise
from polewright.core.night.effects import Objection, Refused
from polewright.core.night.events import AnyEvent, LessonAsked, NightStarted, UndoAsked
from polewright.core.night.states import Lesson, NightState, Waiting, begun
from polewright.core.night.table import step
from polewright.core.screws.angles import Screw
from polewright.core.screws.lesson import AWAY_ARCMIN, BACK_AND_FORTH, MOST_TURNS, lesson_over, lesson_turns
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewRate
from polewright.words.coach import say

ONE_MOVE = ScrewMemory(None, (ScrewMove(0.5, 100.0, 70.0, 0.05, read_off=True),))
ENGAGED = ScrewRate(-60.0, 6.0, 0.1, 0.04, slack=0.0, slack_sure=True, moves=1)
SEEDS = range(40, 46)


@lru_cache(maxsize=8)
def taught(seed: int) -> PaperNight:
    """A whole night with a lesson on each screw."""
    night = PaperNight(seed, lessons=True)
    night.run()
    return night


def before_the_lesson(seed: int) -> tuple[NightState, LessonAsked]:
    """The state in which a lesson was asked for, and the asking."""
    state: NightState = Waiting()
    for event in taught(seed).log:
        if isinstance(event, LessonAsked):
            return state, event
        state, _ = step(state, event)
    raise AssertionError("nobody asked")


def test_first_whole_turns_the_way_it_is_engaged_then_there_and_back_beyond_the_slack() -> None:
    assert lesson_turns(ONE_MOVE, ENGAGED, 0, 70.0) == 2.0
    fast = replace(ENGAGED, arcmin_per_turn=-90.0, sigma_arcmin=9.0)
    assert lesson_turns(ONE_MOVE, fast, 0, 70.0) == 1.0  # two would move the axis by three degrees
    back = lesson_turns(ONE_MOVE, replace(ENGAGED, sigma_arcmin=0.6), 1, 70.0)
    assert back < 0.0 and -back in BACK_AND_FORTH and -back > 0.1 + 2.0 * 0.04
    half_crossed = replace(ENGAGED, slack=0.5)
    assert lesson_turns(ONE_MOVE, half_crossed, 2, 70.0) > 0.0  # on, the way it was turned last


def test_a_lesson_leads_no_further_away_than_it_must() -> None:
    far = -(AWAY_ARCMIN - 60.0)
    assert lesson_turns(ONE_MOVE, ENGAGED, 0, far) == -2.0  # on would lead to 260 arcmin, back is nearer the pole


def test_a_lesson_is_over_when_the_screw_is_known_or_turned_often_enough() -> None:
    known = replace(ENGAGED, sigma_arcmin=1.0, sigma_backlash=0.008)
    assert lesson_over(ONE_MOVE, known, 3)
    assert not lesson_over(ONE_MOVE, replace(known, sigma_backlash=0.02), 3)
    assert not lesson_over(ONE_MOVE, replace(known, sigma_arcmin=3.0), 3)
    assert lesson_over(ONE_MOVE, ENGAGED, MOST_TURNS)
    assert not lesson_over(ScrewMemory(), None, 0)


def test_a_night_with_lessons_knows_its_screws_and_ends_as_well_as_any() -> None:
    rates, backlashes = [], []
    for night in map(taught, SEEDS):
        assert night.state.proved and not night.false_done and night.state.lesson is None
        for screw in Screw:
            rate, truth = night.state.rate(screw), night.true_screw(screw)
            if rate is not None:
                rates.append(abs(rate.arcmin_per_turn / truth.rate - 1.0))
                backlashes.append(abs(rate.backlash_turns - truth.backlash) / max(truth.backlash, 0.07))
    assert np.max(rates) < 0.05
    assert np.mean(np.array(backlashes) < 0.2) >= 0.9  # a fifth, or five degrees of the head


def test_the_lesson_follows_the_trial_and_counts_its_turns() -> None:
    state: NightState = Waiting()
    made: list[Lesson] = []
    asked = set[str]()
    for event in taught(40).log:
        state, _ = step(state, event)
        if state.lesson is not None:
            advice = advise(state)
            if isinstance(advice.action, Turn):
                assert advice.action.screw is state.lesson.screw
                asked.add(say(advice).why.split(". ", 1)[1])
            if not made or made[-1] != state.lesson:
                made.append(state.lesson)
    assert [lesson.made for lesson in made if lesson.screw is made[0].screw][:3] == [0, 1, 2]
    assert max(lesson.made for lesson in made) < MOST_TURNS
    assert any(text.startswith("To learn this screw, 1 of at most 8: count whole turns") for text in asked)
    assert any("this one takes up the slack" in text for text in asked)


def test_asked_for_again_it_is_over_and_a_click_takes_it_back() -> None:
    state, event = before_the_lesson(41)
    learning, effects = step(state, event)
    assert effects == () and learning.lesson is not None
    assert learning.handling.asked is not None and learning.handling.asked.screw is event.screw
    over, _ = step(learning, event)
    assert over.lesson is None
    undone, _ = step(learning, UndoAsked(event.at_s))
    assert undone.lesson is None


@pytest.mark.parametrize("screw", list(Screw))
def test_no_lesson_before_the_axis_is_followed(screw: Screw) -> None:
    state, (start, *_) = Waiting(), taught(41).log
    assert isinstance(start, NightStarted)
    events: tuple[AnyEvent, ...] = (LessonAsked(0.0, screw),)
    for before in (state, step(state, start)[0]):
        same, effects = step(before, events[0])
        assert same is before and isinstance(effects[0], Refused)


def test_no_lesson_on_a_screw_that_is_known() -> None:
    state, event = before_the_lesson(41)
    moves = tuple(move for seed in SEEDS for move in taught(41).state.memory(event.screw).moves[:12])[:60]
    memory = ScrewMemory(None, moves, bends=event.screw is Screw.ALTITUDE)
    knowing = (
        replace(begun(state), azimuth=memory)
        if event.screw is Screw.AZIMUTH
        else replace(begun(state), altitude=memory)
    )
    _, effects = step(knowing, event)
    assert isinstance(effects[0], Refused) and effects[0].objection is Objection.SCREW_KNOWN
