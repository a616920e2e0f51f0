"""Where a night runs: in a thread of its own, or (tests, virtual time) in the caller's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from polewright.core.night.events import AnyEvent
from polewright.runtime.engine import Measure, NightEngine, NoOutlets, Outlets
from polewright.runtime.jobs import InlineJobs
from polewright.services.measuring import Optics
from polewright.services.ports import Clock, Scheduler
from polewright.services.recorder import NightRecorder
from polewright.ui.driving.snapshot import Snapshot, SnapshotMaker

TICK_S = 1.0
Tell = Callable[[Snapshot], None]


@dataclass(frozen=True)
class NightOrder:
    """What a night needs to run. `resume` takes up what `night_folder` already holds."""

    night_folder: Path
    measure: Measure
    clock: Clock
    optics: Optics = field(default_factory=Optics)
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

    def frame_arrived(self, path: Path) -> None:
        """A complete frame, from elsewhere than a watched folder."""
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


class InlineDesk:
    """Satisfies Desk without threads: the caller's scheduler makes time pass. Watches no folder by itself."""

    def __init__(self, order: NightOrder, scheduler: Scheduler, tell: Tell) -> None:
        self._scheduler = scheduler
        self._tell = tell
        self._stopped = False
        self.watched: Path | None = None
        self.recorder = NightRecorder(order.night_folder, order.clock, self._on_trouble)
        self.engine = NightEngine(
            order.measure,
            InlineJobs(),
            self.recorder,
            order.clock,
            order.clock.monotonic_s,
            order.outlets,
            order.keep_frame,
        )
        self._maker = SnapshotMaker(self.engine, order.clock, order.optics)
        if self.recorder.trouble is not None:
            self.engine.recording_trouble(self.recorder.trouble)
        if self.recorder.resumed is not None:
            self.engine.resume(self.recorder.resumed)
        self.engine.listen(self._on_change)
        self._tell_now()
        scheduler.after(TICK_S, self._tick)

    def click(self, event: AnyEvent) -> None:
        click_on(self.engine, self._maker, event)
        self._tell_now()

    def ask(self, action: Callable[[NightEngine], None]) -> None:
        action(self.engine)
        self._tell_now()

    def watch(self, folder: Path) -> None:
        self.watched = folder

    def frame_arrived(self, path: Path) -> None:
        self.engine.frame_arrived(path)

    @property
    def unwritten(self) -> str:
        return unwritten(self.recorder)

    def stop(self) -> list[str]:
        self._stopped = True
        return [] if self.recorder.close() else [str(self.recorder.trouble)]

    def _tick(self) -> None:
        if not self._stopped:
            self.engine.tick()
            self._scheduler.after(TICK_S, self._tick)

    def _on_change(self, engine: NightEngine) -> None:
        self._tell_now()
        pictured = self._maker.with_picture()
        if pictured is not None:
            self._tell(pictured)

    def _tell_now(self) -> None:
        if not self._stopped:
            self._tell(self._maker.take())

    def _on_trouble(self, trouble: object) -> None:
        engine = getattr(self, "engine", None)  # the recorder may report while it is being made
        if engine is not None:
            engine.recording_trouble(trouble)
