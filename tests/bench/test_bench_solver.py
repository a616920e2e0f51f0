"""Time to solve, as ratios to reading the file and to one pass over its pixels.

Run with `pytest tests/bench/test_bench_solver.py --benchmark-only`; the printed ratios are the figures to quote.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from polewright.core.matching.hint import SolveHint
from polewright.core.model import PlateSolution
from sky_solver import shared_catalogue, shared_solver
from solver_fields import EPOCH_YEAR, Field, FieldRecipe, make_field

WIDTH, HEIGHT = 1280, 960


def one_field(limit_stars: int) -> Field:
    rng = np.random.default_rng(5)
    field = None
    while field is None:
        field = make_field(shared_catalogue(), FieldRecipe(2.5, limit_stars=limit_stars), rng)
    return field


@pytest.fixture(scope="module")
def file_of_pixels(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("floor") / "frame.bin"
    pixels = np.random.default_rng(1).integers(900, 1100, (HEIGHT, WIDTH)).astype(np.uint16)
    path.write_bytes(pixels.tobytes())
    return path


@pytest.mark.benchmark(group="solve 1280x960, 2.5 degrees")
def test_floor_reading_the_file(benchmark: BenchmarkFixture, file_of_pixels: Path) -> None:
    benchmark(lambda: np.fromfile(file_of_pixels, dtype=np.uint16))


@pytest.mark.benchmark(group="solve 1280x960, 2.5 degrees")
def test_floor_one_pass_over_the_pixels(benchmark: BenchmarkFixture, file_of_pixels: Path) -> None:
    pixels = np.fromfile(file_of_pixels, dtype=np.uint16)
    benchmark(lambda: int(pixels.sum(dtype=np.int64)))


@pytest.mark.benchmark(group="solve 1280x960, 2.5 degrees")
@pytest.mark.parametrize("limit_stars", [20, 60])
def test_solve_blind_over_the_whole_sky(benchmark: BenchmarkFixture, limit_stars: int) -> None:
    field, solver = one_field(limit_stars), shared_solver()
    hint = SolveHint(field.stated_scale_arcsec_px)
    got = benchmark(lambda: solver.solve(field.stars, EPOCH_YEAR, hint))
    assert isinstance(got, PlateSolution)


@pytest.mark.benchmark(group="solve 1280x960, 2.5 degrees")
def test_solve_with_the_last_frames_camera_and_place(benchmark: BenchmarkFixture) -> None:
    field, solver = one_field(60), shared_solver()
    first = solver.solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
    assert isinstance(first, PlateSolution)
    hint = SolveHint(camera=first.camera, near=first.centre)
    got = benchmark(lambda: solver.solve(field.stars, EPOCH_YEAR, hint))
    assert isinstance(got, PlateSolution)
