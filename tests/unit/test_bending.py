"""Sag and pull tied by a night: the two columns of a budget against plain linear algebra.

The way there and back, the whole of both columns, and what a measurement teaches, each held against the textbook's
formulas for a normal prior of two correlated numbers (Gelman et al., Bayesian Data Analysis, 3rd ed. (2013),
section 3.5, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.bending import MOST_TIED, bending_pair, learned, per_unit_of, with_bending
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.covariance import covariance_of
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.joint import Word, joint
from polewright.core.model import FloatArray
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.proof.actions import _allowed_for, bend_learned

TIED = Flexure(2e-5, 3e-5, -1e-5, 4e-5, correlation=-0.7)
PER_UNIT = np.array([[0.4, 1.1], [-0.9, 0.3]])  # of (east, up), invented
OTHERS = Budget((Chance(Part.STARS, ((1e-10, 0.0), (0.0, 2e-10))),), (Column(Nuisance.LATE, 1e-5, 2e-5, 0.3),))


def spread(flexure: Flexure) -> np.ndarray:
    tied = flexure.correlation * flexure.sag_sigma_rad * flexure.pull_sigma
    return np.array([[flexure.sag_sigma_rad**2, tied], [tied, flexure.pull_sigma**2]])


@pytest.mark.parametrize("flexure", [FLEXURE_PRIOR, TIED])
def test_the_columns_hold_all_that_the_two_tied_numbers_do(flexure: Flexure) -> None:
    columns = bending_pair(PER_UNIT, flexure)
    whole = sum(np.outer(c.per_unit, c.per_unit) * c.sigma**2 for c in columns)
    assert whole == pytest.approx(PER_UNIT @ spread(flexure) @ PER_UNIT.T, rel=1e-12)


def test_a_unit_of_each_alone_is_found_again() -> None:
    assert per_unit_of(with_bending(OTHERS, PER_UNIT, TIED), TIED) == pytest.approx(PER_UNIT, rel=1e-12)


def test_what_else_a_budget_holds_stays_and_bending_is_there_once() -> None:
    twice = with_bending(with_bending(OTHERS, PER_UNIT, FLEXURE_PRIOR), PER_UNIT, TIED)
    assert twice.chances == OTHERS.chances and twice.columns[0] == OTHERS.columns[0]
    assert [c.nuisance for c in twice.columns] == [Nuisance.LATE, Nuisance.SAG, Nuisance.PULL]


def test_what_is_learned_is_the_posterior_of_the_two_tied_numbers() -> None:
    """Measured in terms of the columns, told in terms of sag and pull: as if it had been done in these at once."""
    seen, noise = np.array([1.5e-5, -2e-5]), np.array([[4e-10, 1e-10], [1e-10, 3e-10]])
    per_column = np.stack([c.per_unit for c in bending_pair(PER_UNIT, TIED)], axis=1)
    prior = np.diag([c.sigma**2 for c in bending_pair(PER_UNIT, TIED)])
    mean, covariance = posterior(per_column, prior, seen, noise)
    told = learned(TIED, mean, covariance, 0.25)
    sag_pull, straight = posterior(PER_UNIT, spread(TIED), seen, noise)
    assert (told.sag_rad, told.pull) == pytest.approx((TIED.sag_rad + sag_pull[0], TIED.pull + sag_pull[1]), rel=1e-9)
    assert spread(told) == pytest.approx(straight, rel=1e-9) and told.surprise == 0.25


def posterior(
    per_unit: np.ndarray, prior: np.ndarray, seen: np.ndarray, noise: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    gain = prior @ per_unit.T @ np.linalg.inv(per_unit @ prior @ per_unit.T + noise)
    return gain @ seen, prior - gain @ per_unit @ prior


def test_numbers_that_were_told_exactly_alike_are_not_tied_for_ever() -> None:
    told = learned(FLEXURE_PRIOR, np.zeros(2), np.full((2, 2), 1e-12), 0.1)
    assert told.correlation == MOST_TIED


def bent_turns(sizes: tuple[float, float], before: Flexure) -> tuple[FloatArray, tuple[MeasuredAxis, MeasuredAxis]]:
    """The true axis (2,), and two turns on other skies that read it with what this sag and pull add; no noise."""
    truth, found = np.array([1e-4, -2e-4]), []
    for per_unit in (np.array([[0.2, 0.5], [0.7, 0.1]]), np.array([[-0.4, 0.3], [0.5, -0.6]])):
        budget = Budget((Chance(Part.STARS, covariance_of(np.eye(2) * 1e-14)),), bending_pair(per_unit, before))
        east, up = truth + per_unit_of_columns(budget) @ np.array(sizes)
        found.append(MeasuredAxis(float(east), float(up), budget.whole, budget=budget))
    return truth, (found[0], found[1])


def per_unit_of_columns(budget: Budget) -> FloatArray:
    return np.stack([column.per_unit for column in budget.columns], axis=1)


def word_of(axis: MeasuredAxis) -> Word:
    assert axis.budget is not None
    return Word(np.array([axis.east_rad, axis.up_rad]), axis.budget)


def test_the_second_turn_is_freed_of_the_bend_that_both_have_shown() -> None:
    """It then reads the axis as it stands, on both sides of the truth and of no bend."""
    before = Flexure()
    for signs in ((1.0, 1.0), (1.0, -1.0), (-1.0, 1.0)):
        sizes = (0.8 * signs[0] * before.sag_sigma_rad, 0.6 * signs[1] * before.pull_sigma)
        truth, (first, second) = bent_turns(sizes, before)
        after, moved = bend_learned(before, joint(word_of(first), word_of(second)), turned=False)
        freed = _allowed_for(second, before, after, moved)
        assert np.hypot(second.east_rad - truth[0], second.up_rad - truth[1]) > 5e-6
        assert (freed.east_rad, freed.up_rad) == pytest.approx(tuple(truth), abs=5e-7)


def test_a_tube_turned_over_is_as_little_known_to_pull_as_before() -> None:
    before = Flexure(surprise=0.07)
    _, (first, second) = bent_turns((0.5 * before.sag_sigma_rad, 0.1 * before.pull_sigma), before)
    both = joint(word_of(first), word_of(second))
    over, moved = bend_learned(before, both, turned=True)
    same, _ = bend_learned(before, both, turned=False)
    assert over.surprise == before.surprise and same.surprise == both.surprise < before.surprise
    assert over.pull_sigma == pytest.approx(before.pull_sigma, rel=0.2) and same.pull_sigma < 0.5 * before.pull_sigma
    assert moved[1] == 0.0
