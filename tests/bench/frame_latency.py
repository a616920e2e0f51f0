"""From "file closed" to "new axis published", through the real watcher on a local folder, with the split.

    OPENBLAS_NUM_THREADS=1 python tests/bench/frame_latency.py [--frames 60]   # as the program runs

A capture of three places, then frames while a screw is turned a little; each is written, closed, waited for. Real
time throughout. The floor is reading the file and touching each pixel once.
"""

from __future__ import annotations

import argparse
import queue
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from polewright.bootstrap import build_measurer
from polewright.core.night.events import NextAsked
from polewright.core.night.states import Stage
from polewright.practice.rehearsal import Rehearsal
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine
from polewright.services.clock import SystemClock
from polewright.services.folder_events import FolderEvent, FrameArrived
from polewright.services.folder_watch import FolderWatcher
from polewright.services.frame_reader import read_frame
from polewright.services.recorder import NightRecorder
from polewright.simulate.fits_file import fits_bytes

SIZES = {"1280x960": (1280, 960, 180.0), "3000x2000": (3000, 2000, 440.0)}
EXPOSURE_S = 2.0


@dataclass(frozen=True)
class Latency:
    """One frame: from the close of the file, s."""

    notice_s: float
    seconds: Mapping[str, float]  # where the measurer spent its time
    acted_s: float  # from there to the published state
    total_s: float
    floor_s: float


def latencies(width_px: int, height_px: int, focal_mm: float, count: int, place: Path) -> list[Latency]:
    """`count` frames of that size while a screw is turned."""
    world = _world(width_px, height_px, focal_mm)
    frames = place / "frames"
    frames.mkdir()
    night = Rehearsal(world, NightRecorder(place / "night", world.clock), build_measurer(quiet=True).measure)
    reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
    watcher = FolderWatcher(frames, reports.put, SystemClock())
    watcher.start()
    reports.get(timeout=20.0)
    try:
        night.begin()
        night.engine.post(NextAsked(0.0))
        _capture(world, night.engine, frames, reports)
        assert night.engine.state.stage in (Stage.ROUGH, Stage.FINE), night.engine.advice
        found = []
        for number in range(count):
            world.rig.turn("azimuth", 0.002, world.now())
            world.clock.advance(6.0)
            found.append(_one(world, night.engine, frames, reports, f"adjust-{number:03d}.fits"))
        return found
    finally:
        watcher.stop()
        night.recorder.close()


def _world(width_px: int, height_px: int, focal_mm: float) -> RehearsalWorld:
    world = RehearsalWorld("calm", 1)
    night = world.rig.night
    camera = replace(
        night.scenario.camera,
        width_px=width_px,
        height_px=height_px,
        focal_length_mm=focal_mm,
        stated_focal_length_mm=focal_mm,
        aperture_mm=max(50.0, focal_mm / 5.0),
    )
    world.rig.night = replace(night, scenario=replace(night.scenario, camera=camera))
    return world


def _capture(
    world: RehearsalWorld, engine: NightEngine, folder: Path, reports: queue.SimpleQueue[FolderEvent]
) -> None:
    rig, scenario = world.rig, world.rig.night.scenario
    done = rig.point(-3.0, scenario.declination_toward_pole_deg, world.now())
    rig.set_tracking(True, done)
    for number in range(5):
        world.clock.advance(world.seconds_until(done) + 8.0)
        _one(world, engine, folder, reports, f"capture-{number}.fits")
        if engine.state.stage is not Stage.CAPTURE:
            return
        done = rig.rotate_ra(40.0, world.now())


def _one(
    world: RehearsalWorld, engine: NightEngine, folder: Path, reports: queue.SimpleQueue[FolderEvent], name: str
) -> Latency:
    exposure = world.rig.take(world.now(), EXPOSURE_S)
    data = fits_bytes(exposure.pixels, exposure.header)
    world.clock.advance(EXPOSURE_S + 1.0)
    stopwatch, path = SystemClock().monotonic_s, folder / name
    with path.open("wb") as out:
        out.write(data)
    closed_s = stopwatch()
    while not isinstance(reports.get(timeout=20.0), FrameArrived):
        pass
    noticed_s = stopwatch()
    engine.frame_arrived(path)
    published_s = stopwatch()
    frame = read_frame(path)
    begun_s = stopwatch()
    read_frame(path)
    float(np.sum(frame.pixels))
    floor_s = stopwatch() - begun_s
    assert engine.last_measured is not None
    seconds = engine.last_measured.seconds
    acted_s = published_s - noticed_s - sum(seconds.values())
    return Latency(noticed_s - closed_s, seconds, acted_s, published_s - closed_s, floor_s)


def table(name: str, found: list[Latency]) -> list[str]:
    """Median and 95 % of each part, ms."""
    parts = {
        "notice": [f.notice_s for f in found],
        **{part: [f.seconds[part] for f in found] for part in ("read", "detect", "solve")},
        "place, record, estimate": [f.acted_s for f in found],
        "file closed to axis": [f.total_s for f in found],
        "floor: read and sum": [f.floor_s for f in found],
    }
    lines = [f"{name}, {len(found)} frames{'':18}median      95 %"]
    for part, seconds in parts.items():
        ms = 1000.0 * np.array(seconds)
        lines.append(f"  {part:28}{np.median(ms):8.1f} ms{np.percentile(ms, 95):8.1f} ms")
    return lines


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--frames", type=int, default=60)
    args = parser.parse_args()
    for name, size in SIZES.items():
        with tempfile.TemporaryDirectory(prefix="polewright-latency-") as place:
            print("\n".join(table(name, latencies(*size, args.frames, Path(place)))), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
