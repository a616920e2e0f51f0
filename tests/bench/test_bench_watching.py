"""From the moment a frame file is closed to the watcher's report, and the cost of looking at a full folder.

Run with: pytest tests/bench/test_bench_watching.py --benchmark-only -s
"""

from __future__ import annotations

import io
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polewright.services.clock import SystemClock
from polewright.services.folder_events import FolderEvent, FolderReady, FrameArrived
from polewright.services.folder_poller import FolderPoller, WatchSettings
from polewright.services.folder_watch import FolderWatcher

ROUNDS = 100


class Stopwatch:
    """Notes when each report comes."""

    def __init__(self) -> None:
        self.ready = threading.Event()
        self.arrived = threading.Event()
        self.at_s = 0.0

    def __call__(self, event: FolderEvent) -> None:
        if isinstance(event, FolderReady):
            self.ready.set()
        if isinstance(event, FrameArrived):
            self.at_s = time.perf_counter()
            self.arrived.set()


def frame_bytes(height: int, width: int) -> bytes:
    stream = io.BytesIO()
    data = np.random.default_rng(1).integers(1, 65535, (height, width)).astype(np.uint16)
    fits.PrimaryHDU(data).writeto(stream)
    return stream.getvalue()


@pytest.mark.parametrize(("manner", "old"), [("written", 0), ("renamed", 0), ("written", 30_000)])
def test_notice_latency(benchmark: Any, tmp_path: Path, manner: str, old: int) -> None:
    for number in range(old):
        (tmp_path / f"old-{number:05d}.fits").touch()
    blob, watch = frame_bytes(960, 1280), Stopwatch()
    watcher = FolderWatcher(tmp_path, watch, SystemClock(), WatchSettings())
    watcher.start()
    assert watch.ready.wait(60.0)
    taken_ms: list[float] = []

    def one() -> None:
        path = tmp_path / f"{manner}-{len(taken_ms)}.fits"
        target = path if manner == "written" else path.with_suffix(".part")
        watch.arrived.clear()
        with target.open("wb") as file:
            file.write(blob)
        if manner == "renamed":
            target.rename(path)
        closed_s = time.perf_counter()
        assert watch.arrived.wait(10.0)
        taken_ms.append(1e3 * (watch.at_s - closed_s))

    try:
        benchmark.pedantic(one, rounds=ROUNDS, iterations=1)
    finally:
        watcher.stop(10.0)
    low, middle, high = np.percentile(taken_ms, [5, 50, 95])
    print(f"\n{manner}, {old} old files: notice p5 {low:.2f}, median {middle:.2f}, p95 {high:.2f} ms after the close")
    benchmark.extra_info.update({"p50_ms": middle, "p95_ms": high})


def test_looking_at_thirty_thousand_files(benchmark: Any, tmp_path: Path) -> None:
    for number in range(30_000):
        (tmp_path / f"old-{number:05d}.fits").touch()
    poller = FolderPoller(tmp_path)
    start = time.perf_counter()
    assert poller.poll(0.0) == [FolderReady(tmp_path, 30_000)]
    first_ms = 1e3 * (time.perf_counter() - start)
    benchmark(poller.poll, 1.0)
    print(f"\n30,000 files: first look {first_ms:.0f} ms")
    benchmark.extra_info["first_look_ms"] = first_ms
