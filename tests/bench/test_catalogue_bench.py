"""What the star catalogue costs, as ratios to reading its bytes and to touching each star once.

Run: pytest tests/bench/test_catalogue_bench.py --benchmark-only --benchmark-columns=median,min
"""

from __future__ import annotations

import hashlib
import subprocess
import sys

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.services.catalogue_format import FILE_NAME
from polewright.services.resources import find_resource

# VmHWM starts afresh with the process; ru_maxrss would begin with the memory of the test run that forks it
PEAK_MEMORY = """
from pathlib import Path
from polewright.services.catalogue import load_catalogue
load_catalogue()
line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(int(line.split()[1]) / 1024)
"""


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.mark.benchmark(group="load")
def test_floor_of_loading_read_and_hash(benchmark: BenchmarkFixture) -> None:
    path = find_resource(FILE_NAME)
    assert path is not None
    benchmark(lambda: hashlib.sha256(path.read_bytes()).hexdigest())


@pytest.mark.benchmark(group="load")
def test_load(benchmark: BenchmarkFixture) -> None:
    benchmark(load_catalogue)


@pytest.mark.benchmark(group="places of all stars")
def test_floor_of_places_one_copy(benchmark: BenchmarkFixture, catalogue: Catalogue) -> None:
    benchmark(catalogue.position.copy)


@pytest.mark.benchmark(group="places of all stars")
def test_places_of_all_stars(benchmark: BenchmarkFixture, catalogue: Catalogue) -> None:
    benchmark(catalogue.vectors_at, 2026.4)


@pytest.mark.benchmark(group="around")
@pytest.mark.parametrize(("radius_deg", "limit"), [(0.5, None), (2.5, 200), (10.0, 300), (20.0, 300)])
def test_around(benchmark: BenchmarkFixture, catalogue: Catalogue, radius_deg: float, limit: int | None) -> None:
    v = np.random.default_rng(2).normal(size=(64, 3))
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    benchmark(lambda: [catalogue.around(x, np.radians(radius_deg), limit) for x in v])  # 64 calls


@pytest.mark.skipif(sys.platform != "linux", reason="the peak memory of a process is read from /proc")
def test_peak_memory_of_a_process_that_loads_the_catalogue(benchmark: BenchmarkFixture) -> None:
    done = benchmark.pedantic(  # type: ignore[no-untyped-call]
        subprocess.run, args=([sys.executable, "-c", PEAK_MEMORY],), kwargs={"capture_output": True, "check": True}
    )
    peak_mb = float(done.stdout)
    print(f"peak {peak_mb:.0f} MB")
    assert peak_mb < 150.0
