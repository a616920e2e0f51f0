"""Learning screws: rate, direction, backlash, wrong reports, earlier nights. The screws here are invented."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from paper_night import PaperScrew
from polewright.core.errors import RecordingError
from polewright.core.model import FloatArray
from polewright.core.screws.doable import EIGHTH, TOUCH, doable_turns, stepped_turns
from polewright.core.screws.learning import learn
from polewright.core.screws.memory import KEPT_MOVES, ScrewMemory, ScrewMove, ScrewPrior, ScrewRate
from polewright.core.screws.plan import TurnKind, plan_turn

SIGMA = 0.05


def played(
    screw: PaperScrew, turns: list[float], hand: float = 0.0, seed: int = 0, start: float = 90.0, bends: bool = False
) -> ScrewMemory:
    """A memory of these turns, made by a hand with this relative error."""
    rng = np.random.default_rng(seed)
    memory, here = ScrewMemory(bends=bends), start
    for said in turns:
        there = here + screw.turn(said * (1.0 + rng.normal(0.0, hand)), here)
        noise = rng.normal(0.0, SIGMA / math.sqrt(2.0), 2)
        memory = memory.with_move(ScrewMove(said, here + noise[0], there + noise[1], SIGMA))
        here = there
    return memory


def test_nothing_is_known_before_the_first_move() -> None:
    assert learn(ScrewMemory()) is None
    assert learn(ScrewMemory(None, (ScrewMove(0.5, 10.0, 10.01, 0.05),))) is None  # nothing moved


def test_exact_turns_give_rate_and_backlash() -> None:
    memory = played(PaperScrew(-62.0, 0.18, slack=1.0), [1.0, -1.0, -0.5, 1.5, 0.5, -2.0, 1.0, -1.0, -0.5, 0.75])
    rate = learn(memory)
    assert rate is not None
    assert rate.arcmin_per_turn == pytest.approx(-62.0, rel=0.05)
    assert abs(rate.arcmin_per_turn + 62.0) < 1.5 * rate.sigma_arcmin  # so exact a hand was not to be expected
    assert abs(rate.backlash_turns - 0.18) < 1.5 * rate.sigma_backlash
    assert rate.human_error < 0.09
    assert rate.sign_sure > 0.99


def test_the_more_exact_turns_the_nearer_the_truth() -> None:
    """Ten turns cannot tell an exact hand from a lucky one: the rate may be 4 % short. Forty can."""
    turns = [1.0, -1.0, -0.5, 1.5, 0.5, -2.0, 1.0, -1.0, -0.5, 0.75]
    found = [learn(played(PaperScrew(-62.0, 0.18, slack=1.0), turns * times)) for times in (1, 2, 4)]
    off = [abs(rate.arcmin_per_turn + 62.0) / 62.0 for rate in found if rate is not None]
    open_turns = [abs(rate.backlash_turns - 0.18) for rate in found if rate is not None]
    assert off[0] > 1.9 * off[1] > 3.0 * off[2] and off[2] < 0.01
    assert open_turns[0] > 1.9 * open_turns[1] > 3.0 * open_turns[2] and open_turns[2] < 0.01


def least_squares_fit(memory: ScrewMemory) -> tuple[float, float]:
    """Rate and backlash by scipy: a nut with play, each way crossed in full, the turns weighted by their length."""

    def misfits(of: FloatArray) -> list[float]:
        rate, play, share = of
        at, found = share * play, []  # where in its play the screw stands: 0 touches anticlockwise, `play` clockwise
        for move in memory.moves:
            reached = at + move.turns
            driven = reached - min(max(reached, 0.0), play)
            at = reached - driven
            seen = move.after_arcmin - move.before_arcmin
            found.append((rate * driven - seen) / (0.1 * abs(move.turns * rate) + SIGMA))
        return found

    box = ([1.0, 0.0, 0.0], [200.0, 0.6, 1.0])
    fits = [
        least_squares(misfits, [50.0, play, share], bounds=box) for play in (0.02, 0.2) for share in (0.1, 0.5, 0.9)
    ]
    best = min(fits, key=lambda fit: fit.cost).x
    return float(best[0]), float(best[1])


def test_no_worse_than_a_fit_that_is_told_the_model() -> None:
    """Outside check: scipy.optimize.least_squares on the play of a nut written down here, 40 hands that err by 10 %.

    Our estimate knows neither the size of the hand's error nor that nobody turned the wrong way.
    """
    ours, theirs = [], []
    for seed in range(40):
        turns = [0.5, 1.0, 0.5, 0.25, 1.5, -1.0, -0.5, 1.0, -0.75, 0.5]
        memory = played(PaperScrew(50.0, 0.12), turns, hand=0.1, seed=seed)
        rate = learn(memory)
        assert rate is not None
        ours.append((rate.arcmin_per_turn - 50.0, rate.backlash_turns - 0.12))
        fitted = least_squares_fit(memory)
        theirs.append((fitted[0] - 50.0, fitted[1] - 0.12))
    rms = [np.sqrt(np.mean(np.square(off), axis=0)) for off in (ours, theirs)]
    assert np.all(rms[0] < 1.05 * rms[1]), rms
    assert rms[1][0] < 2.5 and rms[1][1] < 0.05, "the fit itself is sound"


def test_size_of_the_human_error_is_learned() -> None:
    found = []
    for seed in range(20):
        rate = learn(played(PaperScrew(50.0, 0.05), [0.5, 1.0, 2.0, 0.5] * 6, hand=0.2, seed=seed))
        assert rate is not None
        found.append(rate.human_error)
    assert np.mean(found) == pytest.approx(0.2, abs=0.03)


def test_sigma_is_honest() -> None:
    pulls = []
    for seed in range(60):
        rate = learn(played(PaperScrew(50.0, 0.1), [0.5, 1.0, 0.5, 0.25, 1.5, -1.0, -0.5, 1.0], hand=0.15, seed=seed))
        assert rate is not None
        pulls.append((rate.arcmin_per_turn - 50.0) / rate.sigma_arcmin)
    assert np.sqrt(np.mean(np.square(pulls))) < 1.4
    assert np.mean(np.abs(pulls) < 2.0) >= 0.88


def test_turn_the_wrong_way_is_recognised_and_still_used() -> None:
    screw = PaperScrew(40.0, 0.1, slack=0.0)
    memory = played(screw, [1.0, 0.5, 1.0])
    moved = screw.turn(-1.0, 0.0)  # said 1.0 clockwise, turned anticlockwise
    memory = memory.with_move(ScrewMove(1.0, 0.0, moved, SIGMA))
    rate = learn(memory)
    assert rate is not None
    assert rate.wrong_way == (3,)
    assert rate.arcmin_per_turn == pytest.approx(40.0, rel=0.05)
    assert rate.sign_sure > 0.99


def test_one_move_against_another_leaves_the_direction_in_doubt() -> None:
    moves = (ScrewMove(0.5, 0.0, 20.0, SIGMA), ScrewMove(0.5, 20.0, 0.0, SIGMA))
    rate = learn(ScrewMemory(None, moves))
    assert rate is not None
    assert rate.sign_sure == pytest.approx(0.5)
    assert plan_turn(rate, 60.0, 0.2).kind is TurnKind.RECHECK


def test_misreported_turn_hardly_moves_the_rate() -> None:
    memory = played(PaperScrew(60.0, 0.0), [1.0, 0.5, 1.0, 0.5, 1.0, 0.5], hand=0.05, seed=3)
    honest = learn(memory)
    spoiled = learn(memory.with_move(ScrewMove(0.25, 0.0, 120.0, SIGMA)))  # said a quarter, turned two
    assert honest is not None and spoiled is not None
    assert 6 in spoiled.misfits
    assert spoiled.arcmin_per_turn == pytest.approx(honest.arcmin_per_turn, rel=0.1)


def test_earlier_nights_are_used_checked_and_refined() -> None:
    prior = ScrewPrior(58.0, 3.0, 0.1, 0.03)
    before = learn(ScrewMemory(prior))
    assert before is not None
    assert before.arcmin_per_turn == pytest.approx(58.0)
    after = learn(ScrewMemory(prior, played(PaperScrew(62.0, 0.1), [1.0, 2.0, 1.0], hand=0.05).moves))
    assert after is not None
    assert after.sigma_arcmin < before.sigma_arcmin
    assert 58.0 < after.arcmin_per_turn < 64.0
    assert not after.prior_rejected


def test_profile_of_another_mount_is_set_aside() -> None:
    prior = ScrewPrior(58.0, 2.0, 0.1, 0.03)
    rate = learn(ScrewMemory(prior, played(PaperScrew(-25.0, 0.05), [1.0, 1.0, 2.0, 1.0]).moves))
    assert rate is not None
    assert rate.prior_rejected
    assert rate.arcmin_per_turn == pytest.approx(-25.0, rel=0.1)


def test_lever_that_changes_with_the_angle() -> None:
    # an altitude lever 15 degrees off square loses about 0.9 % per degree (cos^2 law)
    screw = PaperScrew(60.0, 0.0, change=-0.009)
    memory = played(screw, [-2.0] * 4 + [1.0] * 4 + [-1.0] * 6 + [2.0] * 4, start=360.0, bends=True)
    rate = learn(memory)
    assert rate is not None
    assert rate.change_per_degree == pytest.approx(-0.009, abs=2.5 * rate.sigma_change)
    assert rate.sigma_change < 0.007
    assert rate.at(0.0) == pytest.approx(60.0, rel=0.03)
    assert rate.at(300.0) < rate.at(0.0)


def test_memory_goes_to_the_next_night_through_json() -> None:
    memory = played(PaperScrew(44.4, 0.12), [0.5, 1.0, -1.0, 1.0], hand=0.1)
    rate = learn(memory)
    carried = memory.for_next_night(rate)
    assert carried.moves == () and carried.prior is not None and carried.prior.nights == 1
    assert carried.prior.sigma_arcmin > (rate.sigma_arcmin if rate else 0.0)
    assert ScrewMemory.from_dict(json.loads(json.dumps(carried.to_dict()))) == carried
    assert ScrewMemory.from_dict(json.loads(json.dumps(memory.to_dict()))) == memory
    assert memory.for_next_night(None).prior is None
    with pytest.raises(RecordingError):
        ScrewMemory.from_dict({"kind": "ScrewMemory", "prior": {"kind": "ScrewPrior"}})


def test_memory_is_bounded() -> None:
    memory = ScrewMemory()
    for index in range(KEPT_MOVES + 5):
        memory = memory.with_move(ScrewMove(float(index), 0.0, 1.0, 0.1))
    assert len(memory.moves) == KEPT_MOVES and memory.moves[-1].turns == KEPT_MOVES + 4.0


@pytest.mark.parametrize(
    ("wanted", "done"),
    [(1.26, 1.25), (0.49, 0.5), (0.13, 0.125), (0.07, 1 / 15), (0.01, 1 / 120), (0.002, TOUCH), (3.3, 3.25)],
)
def test_turns_that_hands_can_do(wanted: float, done: float) -> None:
    assert doable_turns(wanted) == pytest.approx(done)
    assert doable_turns(-wanted) == pytest.approx(done)


def test_a_step_more_and_one_less_come_back_to_the_same_turn() -> None:
    for turns in (1.25, -0.5, 1 / 30, 4.0):
        assert stepped_turns(stepped_turns(turns, 1), -1) == pytest.approx(turns)
        assert abs(stepped_turns(turns, 1)) > abs(turns) > abs(stepped_turns(turns, -1))
    assert stepped_turns(3.0, 1) == pytest.approx(3.0 + 1.0 / 12.0)  # an hour on a clock face
    assert stepped_turns(-1.125, 0) == -1.125
    assert stepped_turns(TOUCH, -1) == TOUCH and stepped_turns(12.0, 1) == 12.0


def read_off(screw: PaperScrew, turns: list[float], seed: int, bends: bool = False) -> ScrewMemory:
    """A memory of these turns by a hand that errs by a fifth and an eye that errs by 3 % of the last turn."""
    rng = np.random.default_rng(seed)
    memory, here = ScrewMemory(bends=bends), 90.0
    for told in turns:
        done = told * (1.0 + rng.normal(0.0, 0.2))
        there = here + screw.turn(done, here)
        said = done + rng.normal(0.0, 0.03 * min(abs(done), 1.0)) + rng.normal(0.0, 1.0 / 120.0)
        memory = memory.with_move(ScrewMove(said, here, there, SIGMA, read_off=True))
        here = there
    return memory


def test_turns_read_off_give_the_rate_to_5_percent_and_the_backlash_to_a_fifth() -> None:
    rates, backlashes, pulls = [], [], []
    for seed in range(60):
        screw = PaperScrew(50.0, 0.15, slack=(seed % 7) / 7.0)
        rate = learn(read_off(screw, [0.5, 2.0, -0.5, 0.5, -0.5, 0.5], seed))
        assert rate is not None
        rates.append(abs(rate.arcmin_per_turn / 50.0 - 1.0))
        backlashes.append(abs(rate.backlash_turns / 0.15 - 1.0))
        pulls.append((rate.arcmin_per_turn - 50.0) / rate.sigma_arcmin)
        pulls.append((rate.backlash_turns - 0.15) / rate.sigma_backlash)
    assert np.mean(np.array(rates) < 0.05) >= 0.95
    assert np.mean(np.array(backlashes) < 0.2) >= 0.95
    assert 0.6 < np.sqrt(np.mean(np.square(pulls))) < 1.25


def test_a_miscounted_turn_and_a_forgotten_one_are_outvoted_and_the_sigma_says_so() -> None:
    for wrong in (-1.0, 1.0):  # one of three turns not counted, or one counted twice
        for index in (1, 3):
            memory = read_off(PaperScrew(50.0, 0.1), [0.5, 3.0, 0.5, 2.0, -0.5, 0.25], seed=5)
            moves = list(memory.moves)
            moves[index] = replace(moves[index], turns=moves[index].turns + wrong)
            rate = learn(ScrewMemory(None, tuple(moves)))
            assert rate is not None
            assert index in rate.misfits
            assert abs(rate.arcmin_per_turn - 50.0) < 3.0 * rate.sigma_arcmin
            assert rate.arcmin_per_turn == pytest.approx(50.0, rel=0.1)


def test_turns_within_the_slack_count_with_the_one_that_crosses_it() -> None:
    # exact arithmetic: 60' a turn, backlash 0.25; engaged clockwise, back by 0.1 + 0.12 + 0.28, on by 0.6
    moves = (
        ScrewMove(1.0, 0.0, 60.0, SIGMA, read_off=True),
        ScrewMove(2.0, 60.0, 180.0, SIGMA, read_off=True),
        ScrewMove(-0.1, 180.0, 180.0, SIGMA, read_off=True),
        ScrewMove(-0.12, 180.0, 180.0, SIGMA, read_off=True),
        ScrewMove(-0.28, 180.0, 165.0, SIGMA, read_off=True),
        ScrewMove(0.6, 165.0, 186.0, SIGMA, read_off=True),
    )
    rate = learn(ScrewMemory(None, moves))
    assert rate is not None
    assert rate.arcmin_per_turn == pytest.approx(60.0, rel=0.015)
    assert rate.backlash_turns == pytest.approx(0.25, rel=0.05)
    assert rate.slack_sure and rate.slack == 0.0


def test_a_reversal_that_moved_nothing_yet_shows_how_large_the_backlash_is_at_least() -> None:
    moves = (
        ScrewMove(1.0, 0.0, 60.0, SIGMA, read_off=True),
        ScrewMove(-0.3, 60.0, 60.0, SIGMA, read_off=True),
    )
    before, after = learn(ScrewMemory(None, moves[:1])), learn(ScrewMemory(None, moves))
    assert before is not None and after is not None
    assert after.backlash_turns > 1.5 * before.backlash_turns
    assert after.backlash_turns + after.sigma_backlash > 0.3


def test_a_turn_read_off_teaches_more_than_one_as_told() -> None:
    told = played(PaperScrew(50.0, 0.1), [0.5, 1.0, 0.75])
    read = ScrewMemory(None, tuple(replace(move, read_off=True) for move in told.moves))
    by_hand, by_eye = learn(told), learn(read)
    assert by_hand is not None and by_eye is not None
    assert by_eye.sigma_arcmin < 0.4 * by_hand.sigma_arcmin
    assert by_eye.human_weight == 2.0  # says nothing about the hand


def test_plan_aims_short_crosses_backlash_and_lifts_last() -> None:
    rate = ScrewRate(60.0, 6.0, 0.2, 0.02, human_error=0.15, slack=1.0, slack_sure=True)
    short = plan_turn(rate, -60.0, 0.2)
    assert short.kind is TurnKind.APPROACH and 0.7 < short.turns < 1.2  # one turn to go and 0.2 of backlash before it
    lower = plan_turn(rate, 60.0, 0.2, lift_last=True)
    assert lower.turns < -1.1 and lower.expected_arcmin < 0.0  # past the pole, to be lifted after
    assert plan_turn(rate, 0.1, 0.2).kind is TurnKind.NONE
    assert plan_turn(rate, -1000.0, 0.2).turns == 10.0
    tiny = plan_turn(ScrewRate(110.0, 2.0, 0.0, 0.01, slack=0.0), -0.3, 0.2)
    assert tiny.kind is TurnKind.TOUCH and tiny.turns == TOUCH
    assert plan_turn(rate, -7.6, 3.0).turns % EIGHTH == 0.0
