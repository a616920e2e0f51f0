"""Makers for tests of a running night: scripted measurements, a recorder in memory, rehearsed nights."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from frame_reasons import FEW
from polewright.core.model import Frame, Site, Sourced, StarList, TargetPole, Utc
from polewright.core.night.events import AnyEvent, NightStarted
from polewright.core.unsolved import FrameReason, Unsolved
from polewright.practice.rehearsal import Rehearsal, Score
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Jobs
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.night_log import NightLog, read_night
from polewright.services.paths import data_folder
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists

START = Utc(2461357.5, 0.8)
MOOR = Site(52.3, 3.0, 84.0)


@dataclass
class MemoryRecorder:
    """Satisfies ports.Recorder. `before` is called at each line, before anything acts on it."""

    lines: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    before: Callable[[str], None] = lambda kind: None
    checkpoints: list[dict[str, Any]] = field(default_factory=list)

    def record(self, kind: str, data: dict[str, Any], *, urgent: bool = False) -> int:
        self.before(kind)
        self.lines.append((kind, data))
        return len(self.lines)

    def keep_checkpoint(self, state: dict[str, Any]) -> None:
        self.checkpoints.append(state)

    def kinds(self) -> list[str]:
        """The kinds of the lines; events by their names."""
        return [data["kind"] if kind == "event" else kind for kind, data in self.lines]


def unsolved_frame(name: str = "a.fits", why: FrameReason = FEW) -> MeasuredFrame:
    """A frame that was read and shows too little."""
    nothing = np.zeros(0)
    stars = StarList(64, 48, nothing, nothing, nothing, nothing, nothing, nothing, np.zeros(0, dtype=np.int64))
    frame = Frame(name, np.zeros((48, 64), dtype=np.uint16), Sourced(START, "header"))
    return MeasuredFrame(frame, stars, Unsolved(why), {"read": 0.1, "detect": 0.2, "solve": 0.3})


def engine_of(
    measure: Callable[[Path], MeasuredFrame],
    recorder: MemoryRecorder | None = None,
    jobs: Jobs | None = None,
    clock: VirtualClock | None = None,
    started: AnyEvent = NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4),  # noqa: B008
) -> NightEngine:
    """An engine whose night has begun, with the event given."""
    clock = clock or VirtualClock(START)
    engine = NightEngine(measure, jobs or Jobs(), recorder or MemoryRecorder(), clock)
    engine.post(started)
    return engine


@dataclass(frozen=True)
class RecordedNight:
    """A rehearsed night: its score, its log, the bytes of it, the engine as it was at the end."""

    score: Score
    log: NightLog
    blob: bytes
    engine: NightEngine


@cache
def rehearsed(scenario: str, seed: int) -> RecordedNight:
    """A whole night by a simulated hand, from star lists; made once in the home of the test run."""
    folder = data_folder() / "rehearsed" / f"{scenario}-{seed}-{os.getpid()}"
    nights: list[Rehearsal] = []
    score = rehearse_with_star_lists(
        scenario, seed, folder, shared_solver(), watch=lambda night, hand: nights.append(night)
    )
    return RecordedNight(score, read_night(folder), (folder / "night.jsonl").read_bytes(), nights[0].engine)
