"""How long the window is held up: presenting a state, and stretching a frame against touching each pixel once."""

from __future__ import annotations

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from night_kit import rehearsed
from polewright.core.night.advise import advise
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.presenting.picture import step_for, stretched

WIDE, HIGH = 1280, 960


@pytest.fixture(scope="module")
def pixels() -> np.ndarray:
    rng = np.random.default_rng(3)
    return rng.normal(600.0, 20.0, (HIGH, WIDE)).clip(0).astype(np.uint16)


@pytest.mark.benchmark(group="picture of 1280 x 960")
def test_floor_touching_each_pixel_once(benchmark: BenchmarkFixture, pixels: np.ndarray) -> None:
    benchmark(lambda: int(pixels.sum(dtype=np.uint64)))


@pytest.mark.benchmark(group="picture of 1280 x 960")
def test_picture(benchmark: BenchmarkFixture, pixels: np.ndarray) -> None:
    """Goal: 5 ms on an idle machine."""
    benchmark(lambda: stretched(pixels, step_for(WIDE)))


@pytest.mark.benchmark(group="present")
def test_present_the_end_of_a_night(benchmark: BenchmarkFixture) -> None:
    state = rehearsed("calm", 3).engine.state
    advice = advise(state)
    benchmark(lambda: present(state, advice, Extras(state.now_s)))
