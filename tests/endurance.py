"""A long night in virtual time: a frame a second into a folder, through poller, engine and record. For hours.

Files, folder, log and engine are real; the pixels are not the point, so a frame is a small FITS file and its solution
comes from a rig on paper (axis_sky.Rig) whose axis stands still but for the noise. Between frames the person asks for
things and bumps the tripod, and once the computer's date is set.
"""

from __future__ import annotations

import gc
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from axis_sky import Rig
from polewright.core.model import PlateSolution, Site, Sourced, StarList, TargetPole, Utc
from polewright.core.night.events import NextAsked, NightStarted, PauseAsked, ResumeAsked, TripodBumped
from polewright.core.night.states import Stage
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Jobs
from polewright.services.clock import VirtualClock
from polewright.services.folder_events import FrameArrived
from polewright.services.folder_poller import FolderPoller
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import MeasuredFrame
from polewright.services.recorder import NightRecorder
from polewright.simulate.fits_file import fits_bytes, write_at_once

START = Utc(2461370.5, 0.75)  # 18:00 UTC on 2026-11-26: dark for more than eight hours at 48 degrees north
SITE = Site(48.0, 10.0)
FRAME_S = 1.0


@dataclass(frozen=True)
class Sample:
    """One look at the process: virtual seconds, frames so far, resident memory, open files, threads; processor time
    of poll and engine per frame since the last look, ms."""

    at_s: float
    frames: int
    memory_mb: float
    handles: int
    threads: int
    poll_ms: float
    engine_ms: float


@dataclass(frozen=True)
class Endured:
    """The samples, and how the night ended."""

    samples: tuple[Sample, ...]
    frames_arrived: int
    frames_recorded: int
    faults: int
    log_bytes: int
    stage: Stage

    def memory_growth(self, warm_up: float = 0.25) -> float:
        """Largest resident memory after the warm-up over the first of it, minus 1."""
        warm = self.samples[int(len(self.samples) * warm_up) :]
        return max(s.memory_mb for s in warm) / warm[0].memory_mb - 1.0


class LongNight:
    """One endurance run; `folder` must be empty."""

    def __init__(self, folder: Path, existing: int = 0, poll_every: int = 1) -> None:
        self.frames, self.night = folder / "frames", folder / "night"
        self.frames.mkdir(parents=True)
        self._blob = fits_bytes(np.zeros((48, 64), dtype=np.uint16), {"IMAGETYP": ("LIGHT", "")})
        for k in range(existing):
            (self.frames / f"old-{k:05d}.fits").write_bytes(self._blob)
        self.clock = VirtualClock(START)
        self.recorder = NightRecorder(self.night, self.clock, sync_s=60.0)
        self.engine = NightEngine(self.measure, Jobs(), self.recorder, self.clock)
        self.poller = FolderPoller(self.frames)
        self.arrived = 0
        self._poll_every = poll_every
        self._rig = Rig(SITE, 3.0, -2.0, hour_deg=-60.0, common_arcsec=0.05, start=START)
        self._rng = np.random.default_rng(1)
        self._turn_deg = 0.0
        self._turned_at_s = 0.0
        self._spent = {"poll": 0.0, "engine": 0.0}

    def measure(self, path: Path) -> MeasuredFrame:
        """Read the real file; where it points comes from the rig."""
        read = read_frame(path)
        seconds = float(path.stem.rsplit("-", 1)[-1]) * FRAME_S - 0.5 * FRAME_S
        utc = START.plus_seconds(seconds)
        solution = self._rig.solution(self._rig.attitude(self._turn_deg, seconds), utc, self._rng)
        frame = replace(read, utc_mid=Sourced(utc, "header"), exposure_s=Sourced(1.0, "header"))
        return MeasuredFrame(frame, _stars(solution), solution, {"read": 0.0, "detect": 0.0, "solve": 0.0})

    def one_second(self, number: int) -> None:
        """A frame is written; it is seen and measured when the poller's turn comes."""
        write_at_once(self.frames / f"night-{number:05d}.fits", self._blob)
        self.clock.advance(FRAME_S)
        if number % self._poll_every:
            return
        begun = time.process_time()
        events = self.poller.poll(self.clock.monotonic_s())
        seen = time.process_time()
        for event in events:
            if isinstance(event, FrameArrived):
                self.arrived += 1
                self.engine.frame_arrived(event.path)
        self.engine.tick()
        self._spent["poll"] += seen - begun
        self._spent["engine"] += time.process_time() - seen

    def begin(self) -> None:
        """Take stock of the folder, start the night, take a capture of three places."""
        self.poller.poll(0.0)
        self.engine.post(NightStarted(self.engine.now_s(), SITE, TargetPole.REFRACTED, np.radians(48.0), 1.5e-4))
        self.engine.post(NextAsked(self.engine.now_s()))

    def turn_for_the_capture(self, number: int) -> None:
        """The RA axis by 40 degrees at seconds 8 and 16 of each capture."""
        since = number - self._turned_at_s
        self._turn_deg = 0.0 if since < 8 else 40.0 if since < 16 else 80.0

    def visit(self, number: int) -> None:
        """What the person does now and then."""
        self.turn_for_the_capture(number)
        now = self.engine.now_s
        if number % 1800 == 900:
            self.engine.post(PauseAsked(now()))
            self.engine.post(ResumeAsked(now()))
        if number % 3600 == 3000:
            self.engine.post(TripodBumped(now()))
            self._turned_at_s = float(number)

    def sample(self, number: int, since: int) -> Sample:
        """The state of the process now."""
        gc.collect()
        frames = max(number - since, 1)
        found = Sample(
            self.clock.monotonic_s(),
            number,
            resident_mb(),
            len(list(Path("/proc/self/fd").iterdir())),
            threading.active_count(),
            1e3 * self._spent["poll"] / frames,
            1e3 * self._spent["engine"] / frames,
        )
        self._spent = {"poll": 0.0, "engine": 0.0}
        return found


def endure(
    folder: Path,
    seconds: int,
    every: int,
    existing: int = 0,
    poll_every: int = 1,
    tell: Callable[[Sample], None] = lambda _: None,
) -> Endured:
    """Run `seconds` frames, look at the process every `every`; halfway the computer's date is set on by a minute."""
    night = LongNight(folder, existing, poll_every)
    night.begin()
    samples, last = [], 0
    for number in range(1, seconds + 1):
        night.visit(number)
        night.one_second(number)
        if number == seconds // 2:
            night.clock.jump_utc(60.0)
        if number % every == 0:
            samples.append(night.sample(number, last))
            last = number
            tell(samples[-1])
    recorded = night.recorder.recorded
    night.recorder.close()
    return Endured(
        tuple(samples),
        night.arrived,
        recorded,
        sum(notice.count for notice in night.engine.notices if "fault" in notice.topic),
        (night.night / "night.jsonl").stat().st_size,
        night.engine.state.stage,
    )


def resident_mb() -> float:
    """Resident memory of this process (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _stars(solution: PlateSolution) -> StarList:
    matched = solution.matched
    ones = np.ones(len(matched))
    flags = np.zeros(len(matched), dtype=np.int64)
    return StarList(1280, 960, matched.x_px, matched.y_px, matched.sigma_px, 1e4 * ones, 30 * ones, 3 * ones, flags)
