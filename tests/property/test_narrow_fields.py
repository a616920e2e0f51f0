"""Long exposures of narrow fields: strays fainter than the catalogue drown nothing. Reduced run of
tests/bench/narrow_fields.py."""

from __future__ import annotations

import numpy as np
import pytest

from bench.narrow_fields import run
from polewright.core.matching.evidence import log_likelihood_ratio
from sky_solver import shared_catalogue, shared_solver


@pytest.mark.parametrize("width_deg", [0.25, 0.33, 0.45, 0.7])
def test_faint_strays_take_no_field_away(width_deg: float) -> None:
    tally = run(shared_solver(False), shared_catalogue(), width_deg, 190, 25, 5)
    assert tally.wrong == 0
    assert tally.able >= 5 and tally.solved_able == tally.able


def test_strays_fainter_than_all_matches_hardly_weigh() -> None:
    """However many there are, they cost little more than not to know how many detections tell anything."""
    sigma, residual = np.full(7, 0.3), np.full((1, 7), 0.3)
    alone, drowned = (
        float(log_likelihood_ratio(residual, sigma, np.array([7]), 1.2e6, np.arange(7), count)[0])
        for count in (7, 200)
    )
    assert alone - 8.0 < drowned < alone


def test_strays_brighter_than_the_matches_weigh() -> None:
    sigma, residual = np.full(7, 0.3), np.full((1, 7), 0.3)
    first, last = (
        float(log_likelihood_ratio(residual, sigma, np.array([7]), 1.2e6, rank, 200)[0])
        for rank in (np.arange(7), np.arange(193, 200))
    )
    assert last < first - 15.0
