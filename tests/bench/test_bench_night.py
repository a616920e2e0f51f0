"""From the closed file to the published axis, as a ratio to reading the file and touching each pixel once.

The full table, with the split and the 95 % point, comes from tests/bench/frame_latency.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

sys.path.insert(0, str(Path(__file__).parent))

from frame_latency import SIZES, latencies

FRAMES = 12


@pytest.mark.parametrize("name", SIZES)
def test_file_closed_to_axis_published(benchmark: BenchmarkFixture, tmp_path: Path, name: str) -> None:
    found = benchmark.pedantic(  # type: ignore[no-untyped-call]
        lambda: latencies(*SIZES[name], FRAMES, tmp_path), rounds=1
    )
    total = np.array([f.total_s for f in found])
    floor = np.array([f.floor_s for f in found])
    benchmark.extra_info["median_ms"] = float(1000.0 * np.median(total))
    benchmark.extra_info["p95_ms"] = float(1000.0 * np.percentile(total, 95))
    benchmark.extra_info["times_the_floor"] = float(np.median(total) / np.median(floor))
    assert len(found) == FRAMES
