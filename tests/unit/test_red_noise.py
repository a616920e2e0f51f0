"""What the growth of a slope's variance does not depend on; its size is tested in test_drift_doubts.py."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.drift.live import STEP_SIGMAS, largest_step
from polewright.core.drift.red_noise import slope_growth

CADENCE_S = 3.0


def series(rng: np.random.Generator, seconds: float, memory_s: float, ratio: float) -> tuple[np.ndarray, np.ndarray]:
    """White noise of sigma 1 and beside it a wander, exact in its covariance at any two moments."""
    at_s = np.arange(0.0, seconds, CADENCE_S)
    kept = np.exp(-CADENCE_S / memory_s)
    wander = np.zeros(at_s.size)
    wander[0] = rng.normal()
    for n in range(1, at_s.size):
        wander[n] = kept * wander[n - 1] + np.sqrt(1.0 - kept**2) * rng.normal()
    return at_s, rng.normal(size=at_s.size) + np.sqrt(ratio) * wander


def test_too_few_frames_say_nothing_and_do_not_count() -> None:
    rng = np.random.default_rng(3)
    few = (np.arange(4.0), rng.normal(size=4))
    assert slope_growth([few]) == 1.0 and slope_growth([]) == 1.0
    whole = series(rng, 300.0, 50.0, 3.0)
    assert slope_growth([few, whole, few]) == slope_growth([whole]) > 1.0


def test_fields_lend_each_other_what_their_noise_is_like() -> None:
    """Each alone is a short look at the same wander; the growth of both lies between what either says alone."""
    rng = np.random.default_rng(4)
    first, second = series(rng, 240.0, 50.0, 3.0), series(rng, 240.0, 50.0, 3.0)
    alone = sorted((slope_growth([first]), slope_growth([second])))
    assert 0.8 * alone[0] <= slope_growth([first, second]) <= 1.25 * alone[1]


def test_a_scale_changes_nothing() -> None:
    at_s, value = series(np.random.default_rng(6), 300.0, 20.0, 1.0)
    assert slope_growth([(at_s, 1e-6 * value)]) == pytest.approx(slope_growth([(at_s, value)]))


@pytest.mark.parametrize(("step", "least", "most"), [(0.0, 0, 1), (8.0, 43, 50)])
def test_a_wander_is_no_knock_and_hides_few_of_eight_times_its_size(step: float, least: int, most: int) -> None:
    """Judged by the resemblance of neighbours alone, 14 of these 50 fields of 25 min were knocked without a step."""
    rng, found = np.random.default_rng(8), 0
    for _ in range(50):
        at_s, value = series(rng, 1500.0, 50.0, 1.0)
        _, _, sigmas = largest_step(at_s, value + step * (at_s > 700.0))
        found += sigmas > STEP_SIGMAS
    assert least <= found <= most
