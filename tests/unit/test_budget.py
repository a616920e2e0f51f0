"""The parts of an error: their sum, what two captures share, and the way through a record and back."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from polewright.core.budget import Budget, Chance, Column, Nuisance, Part, part_sigmas_rad
from polewright.core.covariance import covariance_of
from polewright.core.errors import UsageError
from polewright.core.flexure import Flexure
from polewright.core.plain import from_plain, to_plain

_NUMBER = st.floats(-1e-3, 1e-3)
_SIGMA = st.floats(0.0, 10.0)


def _chances() -> st.SearchStrategy[Chance]:
    pairs = st.tuples(_NUMBER, _NUMBER)
    return st.builds(lambda part, v: Chance(part, covariance_of(np.outer(v, v))), st.sampled_from(Part), pairs)


def _columns() -> st.SearchStrategy[Column]:
    return st.builds(Column, st.sampled_from(Nuisance), _NUMBER, _NUMBER, _SIGMA)


_BUDGETS = st.builds(
    Budget,
    st.lists(_chances(), max_size=4).map(tuple),
    st.lists(_columns(), max_size=5, unique_by=lambda c: c.nuisance).map(tuple),
)


@given(_BUDGETS)
def test_the_whole_is_the_sum_of_its_parts(budget: Budget) -> None:
    parts = sum((budget.part(part) for part in Part), np.zeros((2, 2)))
    assert np.array(budget.whole) == pytest.approx(parts, abs=1e-18)
    total = np.sqrt(sum(sigma**2 for sigma in part_sigmas_rad(budget).values()))
    assert total == pytest.approx(np.sqrt(np.trace(np.array(budget.whole))), rel=1e-9, abs=1e-15)


@given(_BUDGETS)
def test_a_budget_goes_through_a_record(budget: Budget) -> None:
    assert from_plain(Budget, to_plain(budget)) == budget


@pytest.mark.parametrize(("sag_rad", "sag_sigma_rad", "pull"), [(math.nan, 0.0, 0.0), (0, 0, 1.0), (0, -1e-6, 0)])
def test_a_rig_that_bends_like_rubber_is_refused(sag_rad: float, sag_sigma_rad: float, pull: float) -> None:
    with pytest.raises(UsageError):
        Flexure(sag_rad, sag_sigma_rad, pull)
