"""Rendering a frame, as a ratio to its floor: drawing one normal value for each pixel.

Run with: pytest tests/bench/test_bench_simulator.py --benchmark-only -s
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from polewright.services.catalogue import load_catalogue
from polewright.simulate.fits_file import fits_bytes
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from simulated_star_lists import observe_stars


def milliseconds(work: Callable[[], Any], rounds: int = 25) -> float:
    """Median of `rounds` runs."""
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return 1e3 * float(np.median(taken))


@pytest.mark.parametrize("name", ["calm", "windy", "wide-lens"])
def test_a_frame_is_rendered_in_a_few_times_its_noise(benchmark: Any, name: str) -> None:
    scenario = SCENARIOS[name]
    rig = SimulatedRig(scenario, 1, load_catalogue())
    now = rig.point(scenario.hour_angle_h, scenario.declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(True, now)
    now = now.plus_seconds(30.0)
    shape = (scenario.camera.height_px, scenario.camera.width_px)
    rng = np.random.Generator(np.random.SFC64(1))
    benchmark(rig.take, now, 2.0)
    frame = milliseconds(lambda: rig.take(now, 2.0))
    floor = milliseconds(lambda: rng.standard_normal(shape, dtype=np.float32))
    view = milliseconds(lambda: rig.view(now, 2.0))
    stars = milliseconds(lambda: observe_stars(rig, now, 2.0, np.random.default_rng(1)))
    exposure = rig.take(now, 2.0)
    file = milliseconds(lambda: fits_bytes(exposure.pixels, exposure.header))
    print(
        f"\n{name} {shape[1]}x{shape[0]}: frame {frame:.1f} ms ({frame / floor:.1f} x the noise alone), of which"
        f" geometry {view:.1f} ms; FITS bytes {file:.1f} ms; star list without pixels {stars:.1f} ms"
    )
    assert frame < 12.0 * floor
