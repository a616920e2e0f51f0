"""What recording costs the night: one star list into the log, and a whole night read back.

Run with: pytest tests/bench/test_bench_recording.py --benchmark-only
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from polewright.services.clock import SystemClock
from polewright.services.night_log import read_night
from polewright.services.recorder import NightRecorder

COLUMNS = ("x_px", "y_px", "sigma_px", "flux_adu", "snr", "fwhm_px")


def star_list(stars: int) -> dict[str, Any]:
    rng = np.random.default_rng(1)
    return {name: rng.normal(500.0, 200.0, stars) for name in COLUMNS}


def test_recording_a_star_list(benchmark: Any, tmp_path: Path) -> None:
    night, stars = NightRecorder(tmp_path, SystemClock()), star_list(300)
    benchmark(night.record, "stars", stars)
    assert night.close()


def test_an_urgent_event_is_on_the_disk_when_the_call_returns(benchmark: Any, tmp_path: Path) -> None:
    night = NightRecorder(tmp_path, SystemClock())
    benchmark(night.record, "stage", {"name": "capture"}, urgent=True)
    assert night.close()


def test_reading_a_night_of_three_hundred_frames(benchmark: Any, tmp_path: Path) -> None:
    night, stars = NightRecorder(tmp_path, SystemClock()), star_list(300)
    for _ in range(300):
        night.record("stars", stars)
    assert night.close()
    log = benchmark(read_night, tmp_path)
    assert len(log.events) == 300
