"""The real window on simulated nights in virtual time: no threads, no files of frames, no waiting."""

from __future__ import annotations

import gc
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from iso_time import utc_from_iso
from polewright.core.night.events import AnyEvent
from polewright.core.sky.catalogue import Catalogue
from polewright.practice.real_time import Answer, PracticeClock, Task, start_camera
from polewright.practice.world import Deliver, RehearsalWorld
from polewright.runtime.engine import Measure, NightEngine
from polewright.runtime.jobs import InlineWorker, Jobs
from polewright.services.clock import VirtualClock
from polewright.services.folder_survey import FolderSurvey
from polewright.services.measuring import MeasuredFrame, Optics, Solves
from polewright.services.ports import Clock, Scheduler
from polewright.services.recorder import NightRecorder
from polewright.services.sky_index import Progress
from polewright.simulate.night import scenario_named, utc_of
from polewright.ui.driving.desk import NightOrder, Tell, click_on, unwritten
from polewright.ui.driving.driver import Driver
from polewright.ui.driving.means import Means
from polewright.ui.driving.remembered import recall
from polewright.ui.driving.snapshot import SnapshotMaker
from polewright.ui.main_window import MainWindow
from polewright.ui.view_model import Page, View
from star_list_nights import StarListsOnly

NONE = Qt.KeyboardModifier.NoModifier


BEAT_S, TICK_S = 0.25, 1.0


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
            Jobs(),
            self.recorder,
            order.clock,
            order.outlets,
            order.keep_frame,
        )
        self._maker = SnapshotMaker(self.engine, order.clock, order.optics)
        self.survey: FolderSurvey | None = None  # as the watcher would tell it
        self._maker.survey = lambda: self.survey
        if self.recorder.trouble is not None:
            self.engine.recording_trouble(self.recorder.trouble)
        if self.recorder.resumed is not None:
            self.engine.resume(self.recorder.resumed, self.recorder.checkpoint)
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

    def use_optics(self, optics: Optics) -> None:
        self._maker.use_optics(optics)

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


class InlinePractice:
    """Satisfies Practice in the caller's thread: a scheduler's beat makes the world's time pass."""

    def __init__(self, world: RehearsalWorld, deliver: Deliver, clock: Clock, scheduler: Scheduler) -> None:
        self.world = world
        self._clock = clock
        self._scheduler = scheduler
        self._zero_s = clock.monotonic_s()
        self._stopped = False
        start_camera(world, deliver)
        self._beat()

    def ask(self, task: Task, answer: Answer | None = None) -> None:
        self._catch_up()
        result = task(self.world)
        if answer is not None:
            answer(result)

    def stop(self) -> None:
        self._stopped = True

    def _beat(self) -> None:
        if not self._stopped:
            self._catch_up()
            self._scheduler.after(BEAT_S, self._beat)

    def _catch_up(self) -> None:
        self.world.clock.advance_to(self._clock.monotonic_s() - self._zero_s)


@dataclass
class Sky:
    """The camera of the rehearsal that runs: star lists in place of files."""

    solver: Solves
    catalogue: Catalogue
    lists: StarListsOnly | None = None

    def measure(self, path: Path) -> MeasuredFrame:
        assert self.lists is not None
        return self.lists.measure(path)


@dataclass
class Bench:
    """Window and driver; `wait` makes time pass, `key` presses keys."""

    home: Path
    sky: Sky
    clock: VirtualClock
    window: MainWindow = field(init=False)
    driver: Driver = field(init=False)
    desks: list[InlineDesk] = field(default_factory=list)

    def open(self) -> Bench:
        """Build the window, as a start of the program does."""
        remembered = recall(self.home / "config")
        self.window = MainWindow(remembered.settings)
        self.window.night.well.animated = False
        self.window.show()
        self.driver = Driver(self.window, self._means(), remembered)
        return self

    def close(self) -> None:
        """Close it as a person does who means it: a running night asks once."""
        if not self.window.close():
            self.window.close()
        self.window.deleteLater()
        QApplication.processEvents()

    @property
    def view(self) -> View:
        assert self.window.view is not None
        return self.window.view

    @property
    def desk(self) -> InlineDesk:
        return self.desks[-1]

    def wait(self, seconds: float) -> None:
        """Let time pass, in the steps of a glance."""
        for _ in range(max(1, round(seconds / 0.5))):
            self.clock.advance(0.5)

    def until(self, met: Callable[[View], bool], seconds: float = 120.0) -> View:
        """Let time pass until the window shows it."""
        for _ in range(round(seconds / 0.5)):
            if met(self.view):
                return self.view
            self.clock.advance(0.5)
        raise AssertionError(f"not within {seconds} s: {self.view.instruction}, {self.view.trouble}")

    def key(self, key: Qt.Key, held: Qt.KeyboardModifier = NONE) -> None:
        """Press a key where the keyboard is, in this window."""
        focus = QApplication.focusWidget()
        ours = focus is not None and focus.window() is self.window
        QTest.keyClick(focus if focus is not None and ours else self.window, key, held)
        QApplication.processEvents()

    def _means(self) -> Means:
        def make_measure(optics: Optics, progress: Progress) -> Measure:
            return lambda path: self.sky.measure(path)

        def make_desk(order: NightOrder, tell: Tell) -> InlineDesk:
            self.desks.append(InlineDesk(order, self.clock, tell))
            return self.desks[-1]

        def make_practice(scenario: str, seed: int, folder: Path, failed: Callable[[Any], None]) -> InlinePractice:
            world = RehearsalWorld(scenario, seed, catalogue=self.sky.catalogue)
            self.sky.lists = StarListsOnly(world, self.sky.solver, seed, self.desk.frame_arrived)
            return InlinePractice(world, self.sky.lists.deliver, self.clock, self.clock)

        def practice_clock(scenario: str, seed: int) -> Clock:
            night = scenario_named(scenario)
            return PracticeClock(self.clock, utc_of(night.start).plus_seconds(night.clock_error_s))

        return Means(
            clock=self.clock,
            scheduler=self.clock,
            worker=InlineWorker(),
            make_measure=make_measure,
            make_desk=make_desk,
            make_practice=make_practice,
            practice_clock=practice_clock,
            config=self.home / "config",
            data=self.home / "data",
            temporary=lambda: Path(tempfile.mkdtemp(dir=self.home)),
            discard=lambda path: shutil.rmtree(path, ignore_errors=True),
        )


def virtual_clock() -> VirtualClock:
    """An evening of the invented year."""
    return VirtualClock(utc_from_iso("2026-11-20T18:00:00"))


def turn_axis(bench: Bench, practice: InlinePractice) -> None:
    """Do the capture by hand, as told."""
    for _ in range(6):
        view = bench.until(lambda v: v.instruction.sentence.startswith("Rotate") or v.page is not Page.CAPTURE, 240.0)
        if view.page is not Page.CAPTURE:
            return
        words = view.instruction.sentence.rstrip(".").split()
        degrees = float(words[4].rstrip("°")) * (1.0 if words[5] == "west" else -1.0)
        practice.ask(lambda world, d=degrees: world.rig.rotate_ra(d, world.now()))  # type: ignore[misc]
        bench.wait(25.0)


def clear_away() -> None:
    """Delete now what a test has left to Qt and to Python: later it would go in the middle of another test."""
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    gc.collect()
