"""Reading a frame, as a ratio to its floor: numpy.fromfile and one byte swap of the same file.

Run with: pytest tests/bench/test_bench_reading.py --benchmark-only
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits

from polewright.services.frame_reader import read_frame

SIZES = {"1280x960": (960, 1280), "3000x2000": (2000, 3000)}


def milliseconds(work: Callable[[], Any], rounds: int = 60) -> float:
    """Median of `rounds` runs."""
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1e3 * float(np.median(taken))


@pytest.mark.parametrize("size", SIZES)
def test_reading_costs_what_touching_the_bytes_costs(benchmark: Any, tmp_path: Path, size: str) -> None:
    path = tmp_path / "frame.fits"
    data = np.random.default_rng(1).integers(0, 65535, SIZES[size]).astype(np.uint16)
    header = fits.Header({"DATE-OBS": "2026-03-01T20:00:00", "EXPTIME": 2.0, "FOCALLEN": 240.0, "XPIXSZ": 5.0})
    fits.PrimaryHDU(data, header).writeto(path)
    start = path.stat().st_size - (-(-data.nbytes // 2880) * 2880)

    def floor() -> Any:
        blob = np.fromfile(path, np.uint8)
        return blob[start : start + data.nbytes].view(">u2").byteswap()

    def by_astropy() -> Any:
        with fits.open(path, memmap=False) as hdus:
            return hdus[0].data, hdus[0].header["DATE-OBS"]

    benchmark(read_frame, path)
    own, bottom, astropy = milliseconds(lambda: read_frame(path)), milliseconds(floor), milliseconds(by_astropy)
    print(
        f"\n{size}: read_frame {own:.2f} ms, floor {bottom:.2f} ms ({own / bottom:.2f} x), astropy {astropy:.2f} ms"
    )
    benchmark.extra_info.update({"floor_ms": bottom, "ratio_to_floor": own / bottom, "astropy_ms": astropy})
