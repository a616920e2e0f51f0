"""A turn in progress: cues, pauses, the other way, and what it teaches. Our own rules: no outside source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import engaged, learn, seen_sign, sense_for_next_night, sign_sure
from polewright.core.screws.memory import ScrewMemory, ScrewMove
from polewright.core.screws.plan import SIGN_KNOWN
from polewright.core.screws.walk import Cue, Walk, as_told, cue, lead_after, walked

CLOSE, SIGMA, INTERVAL_S, LEAD_S = 0.2, 0.05, 2.0, 0.7


def begun(start: float = 40.0, sign_known: bool = True, turns: float = 1.0) -> Walk:
    return Walk(Screw.AZIMUTH, turns, sign_known, CLOSE, start, start, SIGMA, 0.0, INTERVAL_S)


def after(walk: Walk, places: list[float]) -> Walk:
    for place in places:
        walk = walked(walk, place, SIGMA, SIGMA, walk.at_s + INTERVAL_S)
    return walk


def told(walk: Walk, later_s: float = 0.0) -> Cue:
    return cue(walk, walk.at_s + later_s, LEAD_S, False)


def test_it_keeps_turning_then_slower_then_stop() -> None:
    walk = after(begun(), [36.0, 32.0])
    assert told(walk) is Cue.KEEP_TURNING
    assert told(after(walk, [24.0, 14.0])) is Cue.SLOWER
    assert told(after(walk, [24.0, 14.0, 4.0])) is Cue.STOP


def test_the_stop_leads_by_the_age_of_the_frame_and_the_hand() -> None:
    """At 2' a second with frames every 2 s, 1.2 s old when they are shown: 0.7 s of the hand are 1.4'."""
    walk = after(begun(), [12.0, 8.0])
    truly_left = [8.0 - 2.0 * (t / 10.0 + 0.6 * INTERVAL_S) for t in range(45) if told(walk, t / 10.0) is Cue.STOP]
    assert max(truly_left) == pytest.approx(1.4, abs=0.21)


def test_the_other_way_is_said_with_the_first_frame_that_shows_it() -> None:
    assert told(after(begun(), [41.0])) is Cue.OTHER_WAY
    assert told(after(begun(sign_known=False), [41.0])) is Cue.OTHER_WAY
    assert after(begun(sign_known=False), [41.0]).turns == -1.0
    assert after(begun(), [41.0]).turns == 1.0


def test_a_pause_changes_nothing() -> None:
    walk = after(begun(), [36.0, 32.0])
    paused = after(walk, [32.0] * 30)
    assert told(paused) is Cue.KEEP_TURNING and not paused.arrived and paused.turns == walk.turns
    assert told(after(paused, [28.0])) is Cue.KEEP_TURNING


def test_without_frames_no_speed_is_believed() -> None:
    walk = after(begun(), [36.0, 32.0])
    assert walk.predicted_arcmin(walk.at_s + 1.0) == pytest.approx(32.0 - 2.0 * (1.0 + 0.6 * INTERVAL_S))
    assert walk.predicted_arcmin(walk.at_s + 6.0) == 32.0


def test_the_lead_is_learned_from_what_the_axis_runs_on() -> None:
    walk = after(begun(), [24.0, 14.0, 4.0])
    stopped = replace(as_told(walk, walk.at_s, LEAD_S), here_arcmin=-5.0)
    assert stopped.stop_speed == -5.0
    assert lead_after(LEAD_S, stopped) == pytest.approx(LEAD_S + 0.5)
    assert lead_after(LEAD_S, begun()) == LEAD_S


def test_a_stop_once_said_stays_until_the_axis_rests() -> None:
    """The hand has begun to stop: what is left would allow more, but nobody is told to stop and to go on in turn."""
    called = after(begun(), [24.0, 14.0, 4.0])
    slowed = after(as_told(called, called.at_s, LEAD_S), [2.0])
    assert told(after(called, [2.0])) is Cue.SLOWER
    assert told(slowed) is Cue.STOP
    rested = after(slowed, [2.0])
    assert told(rested) is Cue.KEEP_TURNING
    assert told(after(rested, [1.4])) is Cue.SLOWER
    assert after(rested, [1.5]).stop_speed == -5.0


def test_slower_once_said_stays_until_the_axis_rests() -> None:
    """A hand that obeys would be told to keep turning at once, to speed up and be told again. What was said while a
    frame was on its way counts as well."""
    called = after(begun(), [24.0, 14.0])
    assert told(called) is Cue.SLOWER
    slowed = after(as_told(called, called.at_s, LEAD_S), [12.0])
    assert told(after(called, [12.0])) is Cue.KEEP_TURNING
    assert told(slowed) is Cue.SLOWER
    assert told(after(slowed, [12.0])) is Cue.KEEP_TURNING, "it rests"
    assert told(after(slowed, [3.0])) is Cue.STOP, "and a stop comes as ever"
    waiting = as_told(after(begun(), [30.0, 22.0]), 6.5, LEAD_S)
    assert told(waiting) is Cue.SLOWER


@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=8), st.lists(st.integers(0, 10), min_size=8, max_size=8))
def test_any_partition_of_a_turn_ends_as_the_whole_turn(parts: list[float], pauses: list[int]) -> None:
    """Parts of 30' of a way of 40', with pauses of any length: the same direction, and no end before the aim."""
    walk, here, total = begun(), 40.0, sum(parts)
    for part, pause in zip(parts, pauses, strict=False):
        here -= 30.0 * part / total
        walk = after(walk, [here] * (pause + 1))
        assert not walk.arrived and walk.turns == 1.0 and walk.wrong == 0
        assert told(after(walk, [here])) is Cue.KEEP_TURNING
    assert walk.here_arcmin == pytest.approx(10.0)


def test_what_nobody_told_teaches_the_way_and_no_rate() -> None:
    memory = ScrewMemory().with_move(ScrewMove(0.5, 40.0, 3.0, 0.05, sure=False, guessed=True))
    assert learn(memory) is None and seen_sign(memory) == -1.0
    told_too = memory.with_move(ScrewMove(-0.5, 3.0, 33.0, 0.05))
    rate, alone = learn(told_too), learn(ScrewMemory().with_move(ScrewMove(-0.5, 3.0, 33.0, 0.05)))
    assert rate is not None and alone is not None
    assert rate.arcmin_per_turn == pytest.approx(alone.arcmin_per_turn, rel=0.25)


def test_what_nobody_told_is_sure_only_when_it_was_seen_twice_and_lasts_for_the_next_night() -> None:
    once = ScrewMemory().with_move(ScrewMove(0.5, 40.0, 3.0, 0.05, sure=False, guessed=True))
    twice = once.with_move(ScrewMove(-0.5, 3.0, 33.0, 0.05, sure=False, guessed=True))
    assert sign_sure(ScrewMemory()) == 0.5 < sign_sure(once) < SIGN_KNOWN < sign_sure(twice)
    assert engaged(once) == 1.0 and engaged(twice) == -1.0 and engaged(ScrewMemory()) == 0.0
    later = twice.for_next_night(learn(twice), sense_for_next_night(twice))
    assert not later.moves and seen_sign(later) == -1.0 and sign_sure(later) > SIGN_KNOWN and engaged(later) == 0.0


def test_after_a_motion_away_the_slack_comes_first() -> None:
    away = after(begun(), [41.0, 41.0])
    assert told(away) is Cue.SEEK and away.turns == 1.0
    assert told(after(away, [40.0, 40.0])) is Cue.KEEP_TURNING


def test_a_screw_that_goes_the_wrong_way_twice_works_the_other_way_round() -> None:
    once = after(begun(), [41.0, 41.0])
    assert once.turns == 1.0
    assert after(once, [42.0, 42.0]).turns == -1.0


def test_what_creeps_on_after_the_move_before_is_no_motion_of_the_hand() -> None:
    crept = after(replace(begun(sign_known=False), creep_arcmin=1.5), [41.0, 41.3])
    assert crept.first == 0.0 and crept.turns == 1.0 and told(crept) is not Cue.OTHER_WAY
    assert after(crept, [43.0]).turns == -1.0


def test_what_creeps_on_after_a_leg_the_wrong_way_is_no_second_one() -> None:
    """A halting hand in a night of a loose clutch was sent on the wrong way by a tenth of an arcminute."""
    away = after(replace(begun(), creep_arcmin=0.5), [41.0, 41.0, 41.3])
    assert away.turns == 1.0 and away.wrong == 1
    assert after(away, [41.3, 42.0]).turns == -1.0


def test_at_rest_past_the_aim_nobody_is_told_to_keep_turning() -> None:
    """Beyond the posts by more than its own uncertainty: the turn is over. By less it may still be before them."""
    past = replace(begun(), here_arcmin=-2.5 * SIGMA - CLOSE)
    assert told(past) is Cue.HANDS_OFF and past.arrived and not past.crossed
    unsure = replace(begun(), here_arcmin=-1.5 * CLOSE, sigma_arcmin=2.0 * CLOSE)
    assert told(unsure) is Cue.KEEP_TURNING and not unsure.arrived
