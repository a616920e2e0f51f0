"""The whole way of a frame against its floors, in one table:

    OPENBLAS_NUM_THREADS=1 python tests/bench/speed_table.py [--rounds 7]

which is what the program sets for itself (services/one_thread.py).

Floors: read the file and swap its bytes (numpy.fromfile); one pass over the pixels (their sum); the bare library
extraction (tetra3rs). Ours: read, detect, solve, place, estimate (following the axis), and the whole. Processor time,
median of the rounds, as milliseconds and as a ratio to the sum of the first two floors; then where the time of the
whole goes, function by function. Frames of three sizes, 16 bits, rendered by the simulator.
"""

from __future__ import annotations

import argparse
import cProfile
import pstats
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.following import follow, start_following
from polewright.core.model import AxisEstimate, Frame, PlateSolution, SkyFrame, TargetPole
from polewright.core.sky.places import standard_atmosphere
from polewright.services.catalogue import load_catalogue
from polewright.services.clock import SystemClock
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import FrameMeasurer
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver
from polewright.simulate.fits_file import fits_bytes
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS, Scenario

CALM = SCENARIOS["calm"]
SIZES = {"1280x960": (1280, 960, 180.0), "3000x2000": (3000, 2000, 440.0), "6000x4000": (6000, 4000, 800.0)}


def scene(width: int, height: int, focal_mm: float) -> Scenario:
    """A calm night seen by a camera of that size; fields of 1.5 to 1.7 degrees."""
    camera = replace(
        CALM.camera, width_px=width, height_px=height, focal_length_mm=focal_mm, stated_focal_length_mm=focal_mm
    )
    return replace(CALM, camera=replace(camera, aperture_mm=max(50.0, focal_mm / 5.0)))


@dataclass(frozen=True)
class Capture:
    """Three frames over 90 degrees in files, and the site."""

    scenario: Scenario
    paths: tuple[Path, ...]


def capture(folder: Path, scenario: Scenario) -> Capture:
    """Take them."""
    rig = SimulatedRig(scenario, 3)
    now = rig.point(-3.0, 45.0, rig.night.start)
    rig.set_tracking(True, now)
    paths = []
    for k in range(3):
        now = (rig.rotate_ra(45.0, now) if k else now).plus_seconds(8.0)
        exposure = rig.take(now, 2.0)
        paths.append(folder / f"{k}.fits")
        paths[-1].write_bytes(fits_bytes(exposure.pixels, exposure.header))
    return Capture(scenario, tuple(paths))


class Way:
    """What a frame goes through, one step at a time."""

    def __init__(self, taken: Capture) -> None:
        self.path = taken.paths[-1]
        self.site, self.air = taken.scenario.site, standard_atmosphere(taken.scenario.site)
        self.detector = Detector()
        solver = Solver(load_catalogue(), cache_folder())
        self.measurer = FrameMeasurer(self.detector, solver, SystemClock().monotonic_s)
        self.solver = solver
        self.placed = [self._placed(self.measurer.measure(path)) for path in taken.paths]
        estimate = estimate_axis(self.placed, self.site, self.air, TargetPole.REFRACTED)
        assert isinstance(estimate, AxisEstimate), estimate
        self.following = start_following(estimate, self.placed)
        self.frame: Frame = read_frame(self.path)
        self.stars = self.detector.detect(self.frame)

    def _placed(self, measured: Any) -> SkyFrame:
        assert isinstance(measured.outcome, PlateSolution), measured.outcome
        return sky_frame("f", measured.frame.utc_mid.value, self.site, self.air, measured.outcome, 2.0)

    def solve(self) -> Any:
        """As the measurer does with what it knows."""
        return self.solver.solve(self.stars, 2026.9, self.measurer._hint(self.frame, False))

    def whole(self) -> Any:
        """From the file to the axis."""
        return follow(self.following, self._placed(self.measurer.measure(self.path)))


def floors(path: Path, pixels: np.ndarray) -> dict[str, Callable[[], Any]]:
    """What cannot be avoided."""
    import tetra3rs

    start = path.stat().st_size - (-(-pixels.nbytes // 2880) * 2880)
    native = np.ascontiguousarray(pixels)

    def read() -> Any:
        return np.fromfile(path, np.uint8)[start : start + pixels.nbytes].view(">u2").byteswap()

    return {
        "floor: read the file": read,
        "floor: one pass over the pixels": lambda: int(native.sum(dtype=np.uint64)),
        "floor: bare extraction": lambda: tetra3rs.extract_centroids_fast(native),
    }


def median_ms(work: Callable[[], Any], rounds: int) -> float:
    """Processor time."""
    work()
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return 1e3 * float(np.median(taken))


def where_it_goes(work: Callable[[], Any], rounds: int) -> str:
    """The functions with the most time of their own."""
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(rounds):
        work()
    profile.disable()
    stats = pstats.Stats(profile).stats  # type: ignore[attr-defined]
    total = sum(entry[2] for entry in stats.values())
    top = sorted(((entry[2], where) for where, entry in stats.items()), reverse=True)[:8]
    return ", ".join(f"{name} ({Path(file).name}) {100.0 * own / total:.0f} %" for own, (file, _, name) in top)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--sizes", nargs="+", default=list(SIZES), choices=list(SIZES))
    args = parser.parse_args()
    for size in args.sizes:
        with tempfile.TemporaryDirectory() as folder:
            print(table(size, Way(capture(Path(folder), scene(*SIZES[size]))), args.rounds), flush=True)


def table(size: str, way: Way, rounds: int) -> str:
    """One size."""
    outcome, utc = way.solve(), way.frame.utc_mid
    assert isinstance(outcome, PlateSolution) and utc is not None
    steps: dict[str, Callable[[], Any]] = {
        **floors(way.path, way.frame.pixels),
        "ours: read": lambda: read_frame(way.path),
        "ours: detect": lambda: way.detector.detect(way.frame),
        "ours: solve": way.solve,
        "ours: place in the sky": lambda: sky_frame("f", utc.value, way.site, way.air, outcome, 2.0),
        "ours: estimate": lambda: follow(way.following, way.placed[-1]),
        "ours: the whole": way.whole,
    }
    measured = {name: median_ms(work, rounds) for name, work in steps.items()}
    floor = measured["floor: read the file"] + measured["floor: one pass over the pixels"]
    lines = [f"{size}, {len(way.stars)} stars, {len(outcome.matched)} matched"]
    lines += [f"  {name:34s} {ms:9.2f} ms  {ms / floor:7.2f} x" for name, ms in measured.items()]
    return "\n".join([*lines, f"  of the whole: {where_it_goes(way.whole, rounds)}"])


if __name__ == "__main__":
    main()
