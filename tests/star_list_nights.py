"""Whole rehearsals without pixels and files: what a good detector would find goes straight to the solver."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.model import Frame, Sourced, StarList, Utc
from polewright.core.star_trouble import Smeared
from polewright.practice.hand import MakeHand
from polewright.practice.rehearsal import SYNC_S, Rehearsal, Score, Watch, rehearse
from polewright.practice.told_hand import ToldHand
from polewright.practice.world import RehearsalWorld
from polewright.services.clock import SystemClock
from polewright.services.measuring import FrameMeasurer, MeasuredFrame, Solves
from polewright.services.recorder import NightRecorder
from polewright.simulate.scenarios import Scenario
from simulated_star_lists import observe_stars

LONGEST_PATH_PX = 60.0


def rehearse_with_star_lists(
    scenario: str | Scenario,
    seed: int,
    night_folder: Path,
    solver: Solves,
    make_hand: MakeHand = ToldHand,
    watch: Watch | None = None,
    image_s: float = 0.0,
) -> Score:
    """A night to its end, as rehearse_with_files; for many of them."""
    world = RehearsalWorld(scenario, seed)
    recorder = NightRecorder(night_folder, world.clock, sync_s=SYNC_S)
    night = Rehearsal(world, recorder, lambda path: lists.measure(path))
    lists = StarListsOnly(world, solver, seed, night.engine.frame_arrived)
    return rehearse(night, lists, seed, make_hand, watch, image_s)


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

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
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
