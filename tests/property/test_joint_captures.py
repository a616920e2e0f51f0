"""Two captures together, against the posterior summed over a grid of axis, sag and pull: no formula in common."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.covariance import covariance_of
from polewright.core.flexure import SURPRISE
from polewright.core.joint import TAIL_RAD, Joint, Word, joint

ARCSEC = math.pi / 648000.0
NUMBER = st.floats(-1.5, 1.5)
OFFSET = st.floats(-40.0, 40.0)
NOISE = st.floats(3.0, 8.0)


Two = tuple[float, float]


def word(east: float, up: float, noise: tuple[float, float, float], sag: Two, pull: Two) -> Word:
    a, b, tilt = noise
    c, s = math.cos(tilt), math.sin(tilt)
    turn = np.array([[c, -s], [s, c]])
    own = turn @ np.diag([(a * ARCSEC) ** 2, (b * ARCSEC) ** 2]) @ turn.T
    columns = (
        Column(Nuisance.SAG, *sag, 10.0 * ARCSEC),
        Column(Nuisance.PULL, *pull, 10.0 * ARCSEC),
    )
    chance = Chance(Part.STARS, covariance_of(own))
    return Word(np.array([east, up]) * ARCSEC, Budget((chance,), columns))


WORDS = st.builds(
    word,
    OFFSET,
    OFFSET,
    st.tuples(NOISE, NOISE, st.floats(0.0, math.pi)),
    st.tuples(NUMBER, NUMBER),
    st.tuples(NUMBER, NUMBER),
)


def by_brute_force(first: Word, second: Word, tolerance: float) -> tuple[np.ndarray, np.ndarray, float, np.ndarray]:
    """Mean and covariance (arcsec) of the axis, probability inside, means of sag and pull: sums over a grid.

    The axis is summed exactly for each (sag, pull), as the product of two normals; sag and pull over a fine grid of
    their priors: the usual normal for sag, the mixture for pull.
    """
    grid = np.linspace(-4.5 * 60.0, 4.5 * 60.0, 361)
    usual = np.exp(-0.5 * (grid / 10.0) ** 2) / 10.0
    far = math.hypot(10.0, TAIL_RAD / ARCSEC)
    wide = np.exp(-0.5 * (grid / far) ** 2) / far
    prior = (1.0 - SURPRISE) * usual + SURPRISE * wide
    sag, pull = np.meshgrid(grid, grid, indexing="ij")
    information = [np.linalg.inv(np.array(w.budget.by_chance) / ARCSEC**2) for w in (first, second)]
    covariance = np.linalg.inv(information[0] + information[1])
    left = []
    for w in (first, second):
        j = [w.budget.column(n) for n in (Nuisance.SAG, Nuisance.PULL)]
        left.append(
            np.stack(
                [
                    w.offset_rad[0] / ARCSEC - sag * j[0].east_rad - pull * j[1].east_rad,
                    w.offset_rad[1] / ARCSEC - sag * j[0].up_rad - pull * j[1].up_rad,
                ],
                axis=-1,
            )
        )
    mean = (left[0] @ information[0] + left[1] @ information[1]) @ covariance
    misfit = sum(np.einsum("...i,ij,...j->...", m - mean, i, m - mean) for m, i in zip(left, information))
    weight = np.exp(-0.5 * (misfit - misfit.min())) * usual[:, None] * prior[None, :]
    weight /= weight.sum()
    axis = np.einsum("ab,abi->i", weight, mean)
    spread = covariance + np.einsum("ab,abi,abj->ij", weight, mean - axis, mean - axis)
    nuisances = np.array([(weight * sag).sum(), (weight * pull).sum()])
    heavy = np.argsort(weight, axis=None)[::-1][:20000]  # the rest weighs less than can be seen
    chances = [inside_disc(m, covariance, tolerance) for m in mean.reshape(-1, 2)[heavy]]
    inside = float(np.dot(weight.ravel()[heavy], chances) / weight.ravel()[heavy].sum())
    return axis, spread, inside, nuisances


def inside_disc(mean: np.ndarray, covariance: np.ndarray, tolerance: float) -> float:
    """Chance of a normal inside a disc about 0: a sum over its own grid of 21 x 21."""
    steps = np.linspace(-3.5, 3.5, 21)
    a, b = np.meshgrid(steps, steps)
    weight = np.exp(-0.5 * (a * a + b * b))
    points = np.stack([a, b], axis=-1) @ np.linalg.cholesky(covariance).T + mean
    return float((weight * (np.hypot(points[..., 0], points[..., 1]) <= tolerance)).sum() / weight.sum())


@pytest.mark.parametrize("seed", range(10))
def test_the_posterior_is_that_of_a_sum_over_all_bendings(seed: int) -> None:
    rng = np.random.default_rng([seed, 17])

    def draw(most: float) -> float:
        return float(rng.uniform(-most, most))

    first, second = (
        word(
            draw(25.0),
            draw(25.0),
            (5.5 + draw(2.5), 5.5 + draw(2.5), 1.5 + draw(1.5)),
            (draw(0.6), draw(0.6)),
            (draw(1.2), draw(1.2)),
        )
        for _ in range(2)
    )
    both = joint(first, second)
    axis, spread, inside, nuisances = by_brute_force(first, second, 30.0)
    assert both.axis_rad / ARCSEC == pytest.approx(axis, abs=0.15)
    assert both.covariance_rad2 / ARCSEC**2 == pytest.approx(spread, rel=0.03, abs=1.5)
    assert both.inside(30.0 * ARCSEC) == pytest.approx(inside, abs=0.015)
    for name, value in zip((Nuisance.SAG, Nuisance.PULL), nuisances):
        found = both.nuisance(name)
        assert found is not None
        assert found[0] / ARCSEC == pytest.approx(value, abs=0.3)


@settings(max_examples=50, deadline=None)
@given(WORDS, WORDS)
def test_the_order_of_the_captures_does_not_matter(first: Word, second: Word) -> None:
    one, other = joint(first, second), joint(second, first)
    assert one.axis_rad == pytest.approx(other.axis_rad, abs=1e-4 * ARCSEC)
    assert one.usual_chi2 == pytest.approx(other.usual_chi2, rel=1e-6)


@settings(max_examples=50, deadline=None)
@given(WORDS, WORDS)
def test_the_budget_of_the_joint_axis_adds_up_to_its_covariance(first: Word, second: Word) -> None:
    """With the wide prior and without, and for a tube that was turned over: not more than it, and not less."""
    for both in (joint(first, second), joint(first, second, tail_weight=0.0), joint(first, second, (Nuisance.PULL,))):
        assert np.array(both.budget.whole) / ARCSEC**2 == pytest.approx(both.covariance_rad2 / ARCSEC**2, abs=1e-6)


def bent(pull_arcsec: float, lever: float = 1.0) -> Joint:
    """A capture that a pull has moved by as much to the east, and a second one that it moves up instead."""
    noise = (2.0, 2.0, 0.0)
    first = word(0.0, 0.0, noise, (0.0, 0.3), (1.0, 0.0))
    apart = (-pull_arcsec, 0.0), (0.0, pull_arcsec)
    east, up = (lever * (a + b) for a, b in zip(*apart))
    second = word(east, up, noise, (0.0, 0.1), (1.0 - lever, lever))
    return joint(first, second)


def test_a_small_difference_under_a_good_lever_is_believed() -> None:
    assert bent(3.0).inside(30.0 * ARCSEC) > 0.99


@pytest.mark.parametrize("pull_arcsec", [40.0, 60.0, 90.0])
def test_a_pull_of_many_sigmas_is_found_and_not_shrunk(pull_arcsec: float) -> None:
    both = bent(pull_arcsec)
    found = both.nuisance(Nuisance.PULL)
    assert found is not None
    assert found[0] / ARCSEC == pytest.approx(pull_arcsec, abs=6.0)
    assert both.inside(30.0 * ARCSEC) < 0.05


def test_one_sky_alone_proves_nothing_against_a_pull() -> None:
    """The same columns twice: the two agree whatever the pull is."""
    noise = (1.0, 1.0, 0.0)
    again = word(0.0, 0.0, noise, (0.0, 0.3), (1.0, 0.0))
    assert joint(again, again).inside(30.0 * ARCSEC) < 0.99


def test_a_tube_turned_over_has_a_pull_of_its_own() -> None:
    """Shared, the pull would be known from the difference; apart, the two are averaged and no more."""
    noise = (2.0, 2.0, 0.0)
    first, second = word(0.0, 0.0, noise, (0.0, 0.0), (1.0, 0.0)), word(20.0, 0.0, noise, (0.0, 0.0), (-1.0, 0.0))
    shared = joint(first, second, tail_weight=0.0)
    apart = joint(first, second, apart=(Nuisance.PULL,), tail_weight=0.0)
    assert apart.axis_rad[0] / ARCSEC == pytest.approx(10.0, abs=0.1)
    assert np.trace(apart.covariance_rad2) > 2.0 * np.trace(shared.covariance_rad2)
