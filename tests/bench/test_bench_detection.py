"""How long detection takes, as ratios to floors measured in the same run: one pass over the pixels, bare extraction.

pytest tests/bench/test_bench_detection.py --benchmark-only -s
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import starfields as sf
from polewright.core.model import Frame
from polewright.services.detector import Detector

SIZES = {"1280x960": (960, 1280), "3000x2000": (2000, 3000)}


def ordinary(shape: tuple[int, int]) -> Frame:
    """120 stars of 3 px, SNR 6 to 500, clean sky."""
    return sf.star_field(7, 120, snr=(6.0, 500.0), shape=shape, apart_px=20.0).frame()


def median_ms(job: Callable[[], object], runs: int = 15) -> float:
    """Median time of some runs after one to warm up."""
    job()
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        spent.append(time.perf_counter() - start)
    return 1e3 * statistics.median(spent)


@pytest.mark.parametrize("size", SIZES)
def test_detect(benchmark: Any, size: str) -> None:
    import sep
    import tetra3rs

    frame = ordinary(SIZES[size])
    detector = Detector()
    stars = benchmark(detector.detect, frame)
    assert len(stars) >= 100
    pixels = frame.pixels
    floating = pixels.astype(np.float32) - np.float32(1000.0)
    taken = median_ms(lambda: detector.detect(frame))
    floors = {
        "one pass (sum)": median_ms(lambda: pixels.sum()),
        "tetra3rs fast": median_ms(lambda: tetra3rs.extract_centroids_fast(pixels, threads=1)),
        "sep.extract": median_ms(lambda: sep.extract(floating, 4.0, err=20.0, minarea=3, clean=False), 3),
    }
    benchmark.extra_info["ratios"] = {name: round(taken / floor, 2) for name, floor in floors.items()}
    told = ", ".join(f"{taken / floor:.2f} x {name} ({floor:.2f} ms)" for name, floor in floors.items())
    print(f"\n{size}: {len(stars)} stars in {taken:.2f} ms = {told}")


def test_detect_the_careful_way(benchmark: Any) -> None:
    frame = sf.star_field(7, 20, snr=(5.0, 60.0), shape=(960, 1280)).frame()
    stars = benchmark.pedantic(Detector().detect, (frame,), rounds=3)
    assert len(stars) >= 15
