"""The claims about errors and ellipses, on a reduced number of simulated captures (the full runs are marked slow)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from axis_sky import Rig
from bench.axis_statistics import CASES, INSIDE_95, bound_arcsec, capture_statistics, follow_statistics
from polewright.core.model import Site

FAST = ["guide scope, 3 frames over 90 deg", "near the pole, 3 frames over 60 deg"]


def within_chance(share: float, trials: int) -> bool:
    """Whether a 95 % ellipse may have covered this share: two-sided, one in ten thousand."""
    low, high = (binom.ppf(chance, trials, 0.95) / trials for chance in (5e-5, 1.0 - 5e-5))
    return bool(low <= share <= high)


@pytest.mark.parametrize("name", FAST)
def test_errors_and_ellipses_of_sixty_captures(name: str) -> None:
    rig, turns = CASES[name]
    rig = rig.but(common_arcsec=0.04)
    errors, cover = capture_statistics(rig, turns, 60, 21)
    assert np.sqrt(np.mean(errors**2)) <= 1.3 * bound_arcsec(rig, turns)
    assert within_chance(cover, 60)


def test_guide_scope_over_90_degrees_reaches_3_arcsec() -> None:
    rig, turns = CASES[FAST[0]]
    errors, _ = capture_statistics(rig.but(noise_px=0.3, common_arcsec=0.15), turns, 40, 5)
    median, high = np.percentile(errors, [50.0, 95.0])
    assert median <= 3.0
    assert high <= 8.0


def test_ellipses_while_following() -> None:
    rig = Rig(Site(48.0, 10.0, 200.0), 50.0, -70.0, hour_deg=-90.0, common_arcsec=0.04)
    _, distances = follow_statistics(rig, (1.0, -1.0), 20, 6)
    for step in range(distances.shape[1]):
        assert within_chance(float(np.mean(distances[:, step] < INSIDE_95)), 20)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(CASES))
def test_a_thousand_captures(name: str) -> None:
    """95 % ellipse: 93 to 97 %; rms no more than 1.3 times the bound of the formula."""
    rig, turns = CASES[name]
    rig = rig.but(common_arcsec=0.04)
    errors, cover = capture_statistics(rig, turns, 1000, 31)
    assert np.sqrt(np.mean(errors**2)) <= 1.3 * bound_arcsec(rig, turns)
    assert 0.93 <= cover <= 0.97
