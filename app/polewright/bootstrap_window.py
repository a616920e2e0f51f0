"""Composition root of the window: builds it with the real world behind it.

Imported by the window's command alone: Qt is loaded here, and the heavy services not before the window is shown.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from PySide6.QtCore import QCoreApplication, QEvent, Qt, QtMsgType, QUrl, qInstallMessageHandler
from PySide6.QtGui import QDesktopServices, QIcon
from PySide6.QtWidgets import QApplication

from polewright.core.sky.catalogue import Catalogue
from polewright.practice.real_time import PracticeClock
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import Measure
from polewright.runtime.qt_scheduler import QtScheduler
from polewright.runtime.worker import Worker
from polewright.services.clock import SystemClock
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.measuring import FrameMeasurer, Optics
from polewright.services.paths import cache_folder, config_folder, data_folder, log_folder
from polewright.services.ports import Clock
from polewright.services.program_log import log_to
from polewright.services.rehearsal_folders import RehearsalFolders
from polewright.services.resources import find_resource
from polewright.services.second_looks import second_looks
from polewright.services.sky_index import Progress
from polewright.simulate.night import scenario_named, utc_of
from polewright.ui.driving.driver import Driver
from polewright.ui.driving.faults import Faults
from polewright.ui.driving.index_at_launch import IndexAtLaunch
from polewright.ui.driving.means import Means
from polewright.ui.driving.quitting import QuitSignals
from polewright.ui.driving.remembered import recall
from polewright.ui.driving.threaded_desk import ThreadedDesk
from polewright.ui.driving.threaded_practice import ThreadedPractice
from polewright.ui.main_window import MainWindow
from polewright.ui.sound import SoundGuide
from polewright.ui.theme import Light
from polewright.ui.wakefulness import wakefulness_here

PREPARE_AFTER_S = 2.0  # the first page and the look into the folder come first (chosen)
SIGNALLED = 128  # what a shell adds to the number of a signal
# a camera's local time is taken as UTC: its clock is then seen to be hours off, and Ctrl+K sets it
LOCAL_TIME_H = 0.0
SWITCH_S = 0.0005  # every call into Qt lets other threads run; ask for the turn back soon, or drawing stutters


def run_window(folder: Path | None, rehearsal: tuple[str, int] | None, red: bool) -> int:
    """Build the window with everything behind it, and stay in it until it is closed."""
    qInstallMessageHandler(_sentence_instead_of_abort)
    sys.setswitchinterval(SWITCH_S)
    app = QApplication(sys.argv[:1])
    app.setApplicationName("Polewright")
    app.setDesktopFileName("polewright")
    app.setWindowIcon(QIcon(str(find_resource("icon-256.png") or "")))
    log_to(log_folder())
    window, driver = build_window(red)
    faults = Faults(driver.fault, driver)
    faults.install()

    def quit_now() -> None:
        driver.close()
        window.close()
        app.exit(SIGNALLED + quitting.number)

    quitting = QuitSignals(quit_now, driver)
    window.show()
    driver.begin_when_shown(folder, rehearsal)
    try:
        return int(app.exec())
    finally:
        driver.close()
        quitting.remove()
        faults.remove()
        window.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


def build_window(red: bool = False) -> tuple[MainWindow, Driver]:
    """Window and driver with the real world behind them; the application must exist."""
    remembered = recall(config_folder())
    settings = replace(remembered.settings, light=Light.RED if red else remembered.settings.light)
    scheduler = QtScheduler()
    worker = Worker()
    window = MainWindow(settings, SoundGuide(scheduler, scheduler), worker)
    scheduler.setParent(window)
    worker.setParent(window)
    if settings.light is Light.RED:
        window.setWindowState(window.windowState() | Qt.WindowState.WindowFullScreen)
    return window, Driver(window, build_means(scheduler, worker), remembered)


def _show_outside(place: Path) -> bool:
    """By the desktop's own program; False where there is none."""
    return QDesktopServices.openUrl(QUrl.fromLocalFile(str(place)))


def build_means(scheduler: QtScheduler, worker: Worker) -> Means:
    """What nights, rehearsals and replays are made of, in real time."""
    clock, helper, rehearsals = SystemClock(), HelperProcess(), RehearsalFolders()
    reader = ContainedReader(helper)

    @lru_cache(maxsize=1)
    def catalogue() -> Catalogue:
        from polewright.services.catalogue import load_catalogue

        return load_catalogue()

    def make_measure(optics: Optics, progress: Progress) -> Measure:
        from polewright.services.detector import Detector
        from polewright.services.solver import Solver

        detector, solver = Detector(reader.find_stars), Solver(catalogue(), cache_folder())
        read, now_s = reader.read, clock.monotonic_s
        return FrameMeasurer(detector, solver, now_s, optics, LOCAL_TIME_H, progress, read, second_looks).measure

    def make_practice(scenario: str, seed: int, folder: Path, failed: Callable[[Any], None]) -> ThreadedPractice:
        return ThreadedPractice(lambda: RehearsalWorld(scenario, seed, catalogue=catalogue()), folder, clock, failed)

    def practice_clock(scenario: str, _seed: int) -> Clock:
        night = scenario_named(scenario)
        return PracticeClock(clock, utc_of(night.start).plus_seconds(night.clock_error_s))

    def prepare_index(scale: float | None, tell: Callable[[float | None], None]) -> Callable[[], None]:
        index = IndexAtLaunch(tell, scheduler)
        scheduler.after(PREPARE_AFTER_S, lambda: index.start(scale))
        return index.stop

    return Means(
        clock=clock,
        scheduler=scheduler,
        worker=worker,
        make_measure=make_measure,
        make_desk=ThreadedDesk,
        make_practice=make_practice,
        practice_clock=practice_clock,
        config=config_folder(),
        data=data_folder(),
        temporary=rehearsals.make,
        discard=rehearsals.discard,
        read=reader.read,
        give_up_frame=helper.close,
        show_outside=_show_outside,
        prepare_index=prepare_index,
        wakefulness=wakefulness_here(),
    )


def _sentence_instead_of_abort(kind: QtMsgType, _context: object, message: str) -> None:
    """Qt aborts when it cannot reach a screen: end with a sentence instead."""
    if kind is QtMsgType.QtFatalMsg:
        print(f"polewright: The window cannot be opened: {message.splitlines()[0]}", file=sys.stderr, flush=True)
        os._exit(2)
