"""Practising on a recorded night: decisions are found, answers are judged by what the night taught."""

from __future__ import annotations

import pytest

from night_kit import RecordedNight, rehearsed
from polewright.core.night.events import AnyEvent
from polewright.core.night.states import NightState
from polewright.core.night.trainee import Answer, Decision, best_turn, decisions, judge
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewRate
from polewright.runtime.retrace import CheckedReplay
from polewright.words.trainee import marked_words


@pytest.fixture(scope="module")
def night() -> RecordedNight:
    return rehearsed("calm", 3)


@pytest.fixture(scope="module")
def found(night: RecordedNight) -> tuple[list[Decision], dict[Screw, ScrewRate | None]]:
    replay = CheckedReplay()
    steps: list[tuple[AnyEvent, NightState, NightState]] = []
    for line in night.log.events:
        before = replay.course.state
        event = replay.take(line)
        if event is not None:
            steps.append((event, before, replay.course.state))
    rates = {screw: replay.course.state.rate(screw) for screw in Screw}
    return list(decisions(steps)), rates


def test_every_turn_of_the_night_is_a_decision(
    night: RecordedNight, found: tuple[list[Decision], dict[Screw, ScrewRate | None]]
) -> None:
    assert len(found[0]) == night.score.turns
    assert all(d.after is not None for d in found[0])


def test_the_exact_turn_leaves_next_to_nothing_of_its_own_direction(
    found: tuple[list[Decision], dict[Screw, ScrewRate | None]],
) -> None:
    made, rates = found
    for decision in made:
        rate = rates[decision.made.screw]
        assert rate is not None
        exact = best_turn(decision.state, decision.made.screw, rate)
        verdict = judge(decision, Answer(decision.made.screw, exact), rates)
        assert verdict is not None and decision.state.offset is not None
        other = decision.state.angles(decision.state.offset)
        rest = abs(other.height_arcmin if decision.made.screw is Screw.AZIMUTH else other.bearing_arcmin)
        assert verdict.yours_leaves_rad <= (1.05 * rest + 0.5) / 3437.7


def test_the_other_way_and_half_of_it_are_named(
    found: tuple[list[Decision], dict[Screw, ScrewRate | None]],
) -> None:
    decision = max(found[0], key=lambda d: d.state.offset.total_rad if d.state.offset else 0.0)
    rate = found[1][decision.made.screw]
    assert rate is not None
    exact = best_turn(decision.state, decision.made.screw, rate)
    wrong = judge(decision, Answer(decision.made.screw, -exact), found[1])
    half = judge(decision, Answer(decision.made.screw, 0.5 * exact), found[1])
    right = judge(decision, Answer(decision.made.screw, 1.1 * exact), found[1])
    assert wrong is not None and marked_words(wrong.marked).startswith("The other way")
    assert half is not None and marked_words(half.marked).startswith("The right way, but more")
    assert right is not None and marked_words(right.marked).startswith("Right")
    assert wrong.yours_leaves_rad > half.yours_leaves_rad > right.yours_leaves_rad


def test_a_screw_that_the_night_never_learned_is_not_judged(
    found: tuple[list[Decision], dict[Screw, ScrewRate | None]],
) -> None:
    assert judge(found[0][0], Answer(Screw.AZIMUTH, 0.5), {Screw.AZIMUTH: None}) is None
