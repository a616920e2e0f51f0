"""How a rehearsal's frames reach the engine: as real files through the real watcher, or as star lists for speed."""

from __future__ import annotations

import queue
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import PolewrightError
from polewright.core.model import Frame, Sourced, StarList, Utc
from polewright.core.star_trouble import Smeared
from polewright.practice.world import RehearsalWorld
from polewright.services.clock import SystemClock
from polewright.services.folder_watch import FolderEvent, FolderWatcher, FrameArrived
from polewright.services.measuring import FrameMeasurer, MeasuredFrame, Solves
from polewright.simulate.star_lists import observe_stars

WATCHER_PATIENCE_S = 20.0
LONGEST_PATH_PX = 60.0


class FilesThroughWatcher:
    """Writes each frame as FITS into a folder, waits until the watcher reports it, hands its path on."""

    def __init__(self, world: RehearsalWorld, folder: Path, arrived: Callable[[Path], None]) -> None:
        self._world = world
        self._folder = folder
        self._arrived = arrived
        self._reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
        folder.mkdir(parents=True, exist_ok=True)
        self._watcher = FolderWatcher(folder, self._reports.put, SystemClock())

    def start(self) -> None:
        """Begin to watch."""
        self._watcher.start()
        self._next(type(None))

    def stop(self) -> bool:
        """Stop watching; False when the watcher is held up."""
        return self._watcher.stop()

    def deliver(self, start: Utc, exposure_s: float) -> None:
        """For RehearsalWorld.start_camera. PolewrightError where the frame cannot be written."""
        try:
            self._world.rig.write_frame(self._folder, start, exposure_s)
        except OSError as error:
            raise PolewrightError(
                f"The simulated camera cannot write into {self._folder} ({error.strerror or error}): make room there."
            ) from error
        report = self._next(FrameArrived)
        assert isinstance(report, FrameArrived)
        self._arrived(report.path)

    def _next(self, kind: type) -> FolderEvent:
        while True:
            try:
                report = self._reports.get(timeout=WATCHER_PATIENCE_S)
            except queue.Empty:
                raise PolewrightError(f"No frame was seen in {self._folder}: can files be written there?") from None
            if kind is type(None) or isinstance(report, kind):
                return report


class StarListsOnly:
    """Leaves out pixels and files: what a good detector would find goes straight to the solver."""

    def __init__(self, world: RehearsalWorld, solver: Solves, seed: int, arrived: Callable[[Path], None]) -> None:
        self._world = world
        self._arrived = arrived
        self._rng = np.random.default_rng([seed, 8128])
        self._frames: dict[str, tuple[Frame, StarList]] = {}
        self._measurer = FrameMeasurer(self, solver, SystemClock().monotonic_s)

    def start(self) -> None:
        """Nothing to do."""

    def stop(self) -> bool:
        """Nothing to do."""
        return True

    def deliver(self, start: Utc, exposure_s: float) -> None:
        """For RehearsalWorld.start_camera."""
        name = f"stars-{self._world.frames_taken:04d}"
        self._frames[name] = self._take(name, start, exposure_s)
        self._arrived(Path(name))
        self._frames.pop(name, None)

    def measure(self, path: Path) -> MeasuredFrame:
        """For the engine."""
        return self._measurer.place(self._frames[path.name][0])

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:  # noqa: ARG002
        """For the measurer: the star list that belongs to the frame."""
        return self._frames[frame.name][1]

    def _take(self, name: str, start: Utc, exposure_s: float) -> tuple[Frame, StarList]:
        rig = self._world.rig
        camera = rig.night.scenario.camera
        middle = rig.night.stamped(start).plus_seconds(0.5 * exposure_s)
        frame = Frame(
            name,
            np.broadcast_to(np.zeros(1, dtype=np.uint16), (camera.height_px, camera.width_px)),
            Sourced(middle, "the computer's clock"),
            Sourced(exposure_s, "camera"),
            focal_length_mm=Sourced(camera.stated_focal_length_mm, "profile"),
            pixel_size_um=Sourced(camera.pixel_um, "profile"),
        )
        smear_px = self._smear_px(start, exposure_s)
        if smear_px > LONGEST_PATH_PX:
            return frame, replace(_no_stars(camera.width_px, camera.height_px), trouble=Smeared(smear_px))
        return frame, observe_stars(rig, start, exposure_s, self._rng).stars

    def _smear_px(self, start: Utc, exposure_s: float) -> float:
        """How far the picture moves while the shutter is open, beyond what a fixed tripod's does."""
        rig = self._world.rig
        begin = rig.seconds(start)
        along = rig.mount.attitudes(begin + np.array([0.0, 0.5, 1.0]) * exposure_s)[:, :, 2]
        turn = float(np.linalg.norm(np.diff(along, axis=0), axis=1).max())
        sidereal = 7.3e-5 * exposure_s
        return (turn - sidereal) * rig.night.scenario.camera.focal_px


def _no_stars(width_px: int, height_px: int) -> StarList:
    nothing = np.zeros(0)
    flags = np.zeros(0, dtype=np.int64)
    return StarList(width_px, height_px, nothing, nothing, nothing, nothing, nothing, nothing, flags)
