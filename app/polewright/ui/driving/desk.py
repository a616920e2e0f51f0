"""Where a night runs: in a thread of its own, or (tests, virtual time) in the caller's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from polewright.core.night.events import AnyEvent
from polewright.runtime.engine import Measure, NightEngine, NoOutlets, Outlets
from polewright.services.measuring import Optics
from polewright.services.ports import Clock
from polewright.services.recorder import NightRecorder
from polewright.ui.driving.snapshot import Snapshot, SnapshotMaker

Tell = Callable[[Snapshot], None]


@dataclass(frozen=True)
class NightOrder:
    """What a night needs to run. `resume` takes up what `night_folder` already holds."""

    night_folder: Path
    measure: Measure
    clock: Clock
    optics: Optics = field(default_factory=Optics)
    rig: str = ""  # the name of its profile
    outlets: Outlets = field(default_factory=NoOutlets)
    keep_frame: Callable[[Path], str] = str
    other_camera: Callable[[], None] = lambda: None  # called when the imaging run is taken from another folder
    give_up: Callable[[], None] = lambda: None  # called when the night ends: let no long preparation go on


class Desk(Protocol):
    """Runs one night and tells about it; nothing here waits. Build one per night, `stop` it once."""

    def click(self, event: AnyEvent) -> None:
        """The person did something; the event is stamped with the night's own time."""
        ...

    def ask(self, action: Callable[[NightEngine], None]) -> None:
        """Do something with the engine, where the engine lives."""
        ...

    def watch(self, folder: Path) -> None:
        """Take frames from this folder from now on."""
        ...

    def use_optics(self, optics: Optics) -> None:
        """What is stated about the camera has changed."""
        ...

    @property
    def unwritten(self) -> str:
        """Why the end of the record waits in memory; "" when all is on the disk."""
        ...

    def stop(self) -> list[str]:
        """End the night's work, close its record; what did not end well, in sentences."""
        ...


def click_on(engine: NightEngine, maker: SnapshotMaker, event: AnyEvent) -> None:
    """Post a click; whether it was refused stays known until the next one."""
    maker.refused = None
    engine.post(replace(event, at_s=engine.now_s()))
    maker.refused = engine.refused


def unwritten(recorder: NightRecorder) -> str:
    """For `Desk.unwritten`."""
    return str(recorder.trouble) if recorder.trouble is not None and recorder.waiting else ""
