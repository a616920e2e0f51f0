"""How long a frame takes from plate solution to axis, as a ratio to one pass over a guide camera's pixels.

pytest tests/bench/test_bench_axis.py --benchmark-only
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from axis_sky import Rig
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.following import follow, start_following
from polewright.core.model import AxisEstimate, Site, TargetPole

RIG = Rig(Site(48.0, 10.0, 200.0), 25.0, -12.0, hour_deg=-45.0, stars=40)
CAPTURE = RIG.capture([0.0, 45.0, 90.0], np.random.default_rng(1))
FRAMES = [sky_frame(n, u, RIG.site, RIG.air, s) for n, u, s in CAPTURE]


@pytest.mark.benchmark(group="axis")
def test_floor_one_pass_over_the_pixels(benchmark: BenchmarkFixture) -> None:
    pixels = np.ones((960, 1280), dtype=np.uint16)
    benchmark(pixels.sum)


@pytest.mark.benchmark(group="axis")
def test_place_a_solution_in_observed_enu(benchmark: BenchmarkFixture) -> None:
    name, utc, solution = CAPTURE[0]
    benchmark(sky_frame, name, utc, RIG.site, RIG.air, solution)


@pytest.mark.benchmark(group="axis")
def test_axis_from_three_frames(benchmark: BenchmarkFixture) -> None:
    benchmark(estimate_axis, FRAMES, RIG.site, RIG.air, TargetPole.REFRACTED)


@pytest.mark.benchmark(group="axis")
def test_follow_one_frame(benchmark: BenchmarkFixture) -> None:
    found = estimate_axis(FRAMES, RIG.site, RIG.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    state = start_following(found, FRAMES)
    utc = RIG.start.plus_seconds(110.0)
    solution = RIG.solution(RIG.screws(0.5, 0.2) @ RIG.attitude(90.0, 110.0), utc, np.random.default_rng(2))
    frame = sky_frame("turned", utc, RIG.site, RIG.air, solution)
    benchmark(follow, state, frame)
