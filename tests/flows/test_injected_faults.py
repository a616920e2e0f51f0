"""A fault in any part: the person is told, the record and the log have it, and the night goes on."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from frame_reasons import FEW
from night_kit import MOOR, MemoryRecorder, engine_of, unsolved_frame
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.matching.hint import SolveHint
from polewright.core.model import Frame, PlateSolution, StarList, TargetPole
from polewright.core.night.events import NightStarted
from polewright.core.unsolved import Unsolved
from polewright.runtime.engine import STALL_TOPIC, NightEngine
from polewright.runtime.qt_night import QtNight
from polewright.services.clock import SystemClock
from polewright.services.folder_events import FolderEvent
from polewright.services.folder_poller import FolderPoller, WatchSettings
from polewright.services.frame_reader.reading import read_frame
from polewright.services.measuring import FrameMeasurer, MeasuredFrame
from polewright.services.night_log import read_night
from polewright.simulate.fits_file import fits_bytes


class ImpossibleError(Exception):
    """What nobody foresaw."""


class Once:
    """Raises the first time it is called, then does what it should."""

    def __init__(self, then: Callable[..., object]) -> None:
        self.raised = 0
        self._then = then

    def __call__(self, *arguments: object, **named: object) -> object:
        if not self.raised:
            self.raised += 1
            raise ImpossibleError("injected")
        return self._then(*arguments, **named)


class Stars:
    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        return unsolved_frame().stars


class Nowhere:
    def solve(
        self, stars: StarList, epoch_year: float, hint: SolveHint, progress: object = None
    ) -> PlateSolution | Unsolved:
        return Unsolved(FEW, 3)


@pytest.fixture
def frame_file(tmp_path: Path) -> Path:
    path = tmp_path / "a.fits"
    path.write_bytes(fits_bytes(np.zeros((48, 64), dtype=np.uint16), {"DATE-OBS": ("2026-11-12T20:00:00", "")}))
    return path


@pytest.mark.parametrize("part", ["reader", "detector", "solver"])
def test_a_fault_in_measuring(
    part: str, frame_file: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    detector, solver, read = Stars(), Nowhere(), read_frame
    if part == "reader":
        read = Once(read_frame)  # type: ignore[assignment]
    elif part == "detector":
        monkeypatch.setattr(detector, "detect", Once(detector.detect))
    else:
        monkeypatch.setattr(solver, "solve", Once(solver.solve))
    recorder = MemoryRecorder()
    engine = engine_of(FrameMeasurer(detector, solver, lambda: 0.0, read=read).measure, recorder)
    with caplog.at_level(logging.ERROR):
        engine.frame_arrived(frame_file)
    (notice,) = engine.notices
    assert "A fault in the program" in notice.cause and "injected" in notice.cause and notice.cure
    assert "fault" in recorder.kinds()
    assert any(record.exc_info and record.exc_info[0] is ImpossibleError for record in caplog.records)
    assert engine.state.frames_unsolved == 1
    engine.frame_arrived(frame_file)
    assert engine.state.frames_unsolved == 2 and recorder.kinds()[-1] == "FrameUnsolved"


def test_a_fault_in_the_recorder_costs_a_line_and_not_the_night(caplog: pytest.LogCaptureFixture) -> None:
    def before(kind: str) -> None:
        if kind == "frame" and recorder.kinds().count("frame") == 0 and not failed:
            failed.append(kind)
            raise ImpossibleError("injected")

    failed: list[str] = []
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)
    recorder.before = before
    with caplog.at_level(logging.ERROR):
        engine.frame_arrived(Path("a.fits"))
    assert failed == ["frame"] and engine.state.frames_unsolved == 1
    (notice,) = engine.notices
    assert "while recording" in notice.cause and caplog.records
    engine.frame_arrived(Path("b.fits"))
    assert "frame" in recorder.kinds() and engine.state.frames_unsolved == 2


def test_a_fault_in_the_estimator(monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)

    def broken(effect: object, at_s: float) -> None:
        raise ImpossibleError("injected")

    monkeypatch.setattr(engine.course, "answer", broken)
    monkeypatch.setattr(engine.course, "take", lambda event: (object(),))
    engine.tick()
    assert "injected" in engine.notices[0].cause and recorder.kinds()[-1] == "fault"


def test_a_fault_in_the_watcher_is_told_and_the_watch_goes_on(
    qtbot: QtBot,
    tmp_path: Path,
    frame_file: Path,
    monkeypatch: pytest.MonkeyPatch,
    let_go: Callable[[QtNight], QtNight],
) -> None:
    real, broken = FolderPoller.poll, Once(lambda: None)

    def poll(self: FolderPoller, now_s: float) -> list[FolderEvent]:
        broken()
        return real(self, now_s)

    monkeypatch.setattr(FolderPoller, "poll", poll)
    night = let_go(_night(tmp_path))
    frames = tmp_path / "frames"
    frames.mkdir()
    frame_file.rename(frames / "a.fits")
    night.watch(frames, WatchSettings(include_existing=True, poll_interval_s=0.02))
    qtbot.waitUntil(lambda: night.engine.state.frames_unsolved == 1, timeout=20000)
    assert broken.raised == 1
    assert any("watching the frame folder" in notice.cause for notice in night.engine.notices)
    assert night.stop() == []
    assert any(line.kind == "fault" for line in read_night(tmp_path / "night").events)


def test_a_share_that_does_not_answer_is_told_until_it_does(tmp_path: Path) -> None:
    engine = engine_of(lambda path: unsolved_frame(path.name))
    engine.folder_stalled(3.0)
    assert not engine.notices
    for seconds in (12.0, 30.0, 60.0):
        engine.folder_stalled(seconds)
    (notice,) = engine.notices
    assert notice.topic == STALL_TOPIC and notice.count == 1 and "cable" in notice.cure
    engine.folder_stalled(0.0)
    assert engine.notices == ()


def test_a_second_program_on_the_same_night_says_so_and_loses_nothing(
    qtbot: QtBot, tmp_path: Path, let_go: Callable[[QtNight], QtNight]
) -> None:
    first, second = let_go(_night(tmp_path)), let_go(_night(tmp_path))
    (notice,) = second.engine.notices
    assert "another copy of the program is recording this night" in notice.cause
    assert second.engine.state.plan is not None, "it goes on all the same"
    assert first.stop() == []
    second.engine.tick()
    assert second.engine.notices == () and second.stop() == []
    events = [line for line in read_night(tmp_path / "night").events if line.data.get("kind") == "NightStarted"]
    assert len(events) == 2, "both nights' lines are there, one after the other"


def _night(tmp_path: Path) -> QtNight:
    def measure(path: Path) -> MeasuredFrame:
        return unsolved_frame(path.name)

    night = QtNight(tmp_path / "night", measure, SystemClock())
    night.engine.post(NightStarted(night.engine.now_s(), MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4))
    assert isinstance(night.engine, NightEngine)
    return night
