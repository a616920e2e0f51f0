"""The night on Qt's loop: files in a real folder, measured in the worker, events with the owner, an orderly end."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from night_kit import MOOR, unsolved_frame
from polewright.core.model import TargetPole
from polewright.core.night.events import FolderLost, NightStarted
from polewright.runtime.qt_night import QtNight
from polewright.services.clock import SystemClock
from polewright.services.folder_poller import WatchSettings
from polewright.services.measuring import MeasuredFrame
from polewright.services.night_log import read_night
from polewright.simulate.fits_file import fits_bytes


@pytest.fixture
def frame_bytes() -> bytes:
    return fits_bytes(np.zeros((48, 64), dtype=np.uint16), {"DATE-OBS": ("2026-11-12T20:00:00", "")})


def test_frames_are_measured_in_the_worker_and_the_night_is_taken_up_again(
    qtbot: QtBot, tmp_path: Path, frame_bytes: bytes, let_go: Callable[[QtNight], QtNight]
) -> None:
    here = threading.current_thread()
    threads: list[threading.Thread] = []
    heard: list[threading.Thread] = []

    def measure(path: Path) -> MeasuredFrame:
        threads.append(threading.current_thread())
        return unsolved_frame(path.name)

    night = let_go(QtNight(tmp_path / "night", measure, SystemClock()))
    night.engine.listen(lambda engine: heard.append(threading.current_thread()))
    night.engine.post(NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4))
    frames = tmp_path / "frames"
    frames.mkdir()
    night.watch(frames, WatchSettings(include_existing=True))
    (frames / "before.txt").write_text("no frame")
    (frames / "a.fits").write_bytes(frame_bytes)
    qtbot.waitUntil(lambda: night.engine.state.frames_unsolved == 1, timeout=10000)
    assert threads and all(thread is not here for thread in threads)
    assert all(thread is here for thread in heard)
    assert night.stop() == []

    log = read_night(tmp_path / "night")
    assert any(line.kind == "frame" and line.data["name"] == "a.fits" for line in log.events)
    again = let_go(QtNight(tmp_path / "night", measure, SystemClock()))
    assert again.engine.state.frames_unsolved == 1
    assert again.engine.state.plan == night.engine.state.plan
    assert again.stop() == []


def test_a_fault_in_the_worker_is_shown_and_the_night_goes_on(
    qtbot: QtBot, tmp_path: Path, frame_bytes: bytes, let_go: Callable[[QtNight], QtNight]
) -> None:
    def measure(path: Path) -> MeasuredFrame:
        raise ZeroDivisionError("division by zero")

    night = let_go(QtNight(tmp_path / "night", measure, SystemClock()))
    night.engine.post(NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4))
    night.engine.frame_arrived(tmp_path / "a.fits")
    qtbot.waitUntil(lambda: bool(night.engine.notices), timeout=10000)
    assert "ZeroDivisionError" in night.engine.notices[0].cause
    assert night.engine.state.frames_unsolved == 1
    assert night.stop() == []


def test_another_folder_takes_the_place_of_one_that_is_lost(
    tmp_path: Path, let_go: Callable[[QtNight], QtNight]
) -> None:
    """The night still asked to reconnect the old one while frames came from the new one."""
    night = let_go(QtNight(tmp_path / "night", lambda path: pytest.fail(str(path)), SystemClock()))
    night.engine.post(NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4))
    night.engine.post(FolderLost(night.engine.now_s(), "The share has gone."))
    assert night.engine.state.folder_lost
    (tmp_path / "other").mkdir()
    night.watch(tmp_path / "other")
    assert not night.engine.state.folder_lost
    assert night.stop() == []
