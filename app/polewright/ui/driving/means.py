"""What the window's nights are made of: handed in from outside, so that tests can hand in other means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from polewright.core.model import Frame
from polewright.practice.real_time import Practice
from polewright.runtime.engine import Measure
from polewright.runtime.jobs import Asks
from polewright.services.frame_reader import read_frame
from polewright.services.measuring import Optics
from polewright.services.ports import Clock, Scheduler
from polewright.services.sky_index import Progress
from polewright.ui.driving.desk import Desk, NightOrder, Tell
from polewright.ui.wakefulness import NoWakefulness, Wakefulness

MakeMeasure = Callable[[Optics, Progress], Measure]
# begins to make the index of the sky (first what that scale, arcsec per pixel, needs), tells the share done and None
# at the end; what it hands back stops it
PrepareIndex = Callable[[float | None, Callable[[float | None], None]], Callable[[], None]]
MakeDesk = Callable[[NightOrder, Tell], Desk]


class MakePractice(Protocol):
    """Builds the simulated mount of a rehearsal, whose frames come into a folder."""

    def __call__(self, scenario: str, seed: int, folder: Path, failed: Callable[[Any], None]) -> Practice: ...


@dataclass(frozen=True)
class Means:
    """`config`, `data`: folders for profiles and nights. `temporary` makes an empty folder for a rehearsal."""

    clock: Clock
    scheduler: Scheduler
    worker: Asks
    make_measure: MakeMeasure
    make_desk: MakeDesk
    make_practice: MakePractice
    practice_clock: Callable[[str, int], Clock]
    config: Path
    data: Path
    temporary: Callable[[], Path]
    discard: Callable[[Path], None]
    read: Callable[[Path], Frame] = read_frame
    give_up_frame: Callable[[], None] = lambda: None  # whatever is being read or measured: nobody waits for it
    show_outside: Callable[[Path], bool] = lambda place: False  # a folder or a page, by the desktop's own program
    prepare_index: PrepareIndex = lambda scale, tell: lambda: None
    wakefulness: Wakefulness = field(default_factory=NoWakefulness)
