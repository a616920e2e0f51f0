"""The engine of the night: recorded before it acts, nothing swallowed, nothing stops the session."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from night_kit import MOOR, START, MemoryRecorder, engine_of, unsolved_frame
from polewright.core.errors import FrameReadError, RecordingError
from polewright.core.model import TargetPole
from polewright.core.night.events import NextAsked, NightStarted, PauseAsked, ScrewTurned
from polewright.core.night.states import Stage
from polewright.core.screws.angles import Screw
from polewright.core.unsolved import Unreadable
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Done, InlineWorker, JobOutcome, Jobs
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.recorder import NightRecorder
from polewright.words.coach import BEHIND, say
from polewright.words.objections import refused_words


def raising(error: Exception) -> Callable[[Path], MeasuredFrame]:
    def measure(path: Path) -> MeasuredFrame:
        raise error

    return measure


def test_every_event_is_recorded_before_it_acts() -> None:
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)
    stages: list[Stage] = []
    recorder.before = lambda kind: stages.append(engine.state.stage)
    engine.post(NextAsked(1.0))
    assert stages == [Stage.ORIENTATION]
    assert engine.state.stage is Stage.CAPTURE


def test_stars_are_recorded_with_every_frame_and_before_its_event() -> None:
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)
    engine.frame_arrived(Path("a.fits"))
    assert recorder.kinds() == ["NightStarted", "frame", "FrameUnsolved"]
    assert recorder.lines[1][1]["stars"]["width_px"] == 64
    assert engine.state.frames_unsolved == 1


def test_the_time_of_a_frame_is_split() -> None:
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)
    engine.frame_arrived(Path("a.fits"))
    assert recorder.lines[1][1]["seconds"] == {"read": 0.1, "detect": 0.2, "solve": 0.3}


def test_a_damaged_frame_is_an_event_with_its_reason() -> None:
    engine = engine_of(raising(FrameReadError("The file a.fits is cut short.")))
    engine.frame_arrived(Path("a.fits"))
    trouble = engine.state.trouble
    assert trouble is not None and trouble.why == Unreadable("The file a.fits is cut short.")
    assert engine.notices == ()


def test_a_fault_is_recorded_and_shown_and_the_night_goes_on() -> None:
    recorder = MemoryRecorder()
    engine = engine_of(raising(ZeroDivisionError("division by zero")), recorder)
    heard: list[int] = []
    engine.listen(lambda e: heard.append(len(e.notices)))
    engine.frame_arrived(Path("a.fits"))
    assert recorder.kinds() == ["NightStarted", "fault", "FrameUnsolved"]
    assert "ZeroDivisionError" in recorder.lines[1][1]["traceback"]
    (notice,) = engine.notices
    assert "a.fits" in notice.cause and notice.cure
    assert heard == [1]
    engine.post(NextAsked(2.0))
    assert engine.state.stage is Stage.CAPTURE


def test_a_fault_that_repeats_is_counted_not_piled_up() -> None:
    engine = engine_of(raising(ZeroDivisionError("division by zero")))
    for _ in range(3):
        engine.frame_arrived(Path("a.fits"))
    (notice,) = engine.notices
    assert notice.count == 3
    engine.dismiss(notice.topic)
    assert engine.notices == ()


def test_paused_frames_are_left_alone() -> None:
    recorder = MemoryRecorder()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder)
    engine.post(PauseAsked(1.0))
    engine.frame_arrived(Path("a.fits"))
    assert "frame" not in recorder.kinds()


def test_an_event_out_of_place_changes_nothing_and_says_why() -> None:
    engine = engine_of(lambda path: unsolved_frame(path.name))
    before = engine.state
    engine.post(ScrewTurned(1.0, Screw.AZIMUTH, 0.5))
    assert engine.state is before
    assert engine.refused is not None and refused_words(engine.refused).cure


def test_a_log_that_cannot_be_written_is_a_notice_and_nothing_more(tmp_path: Path) -> None:
    blocked = tmp_path / "night"
    blocked.write_text("a file where the folder should be")
    clock = VirtualClock(START)
    engines: list[NightEngine] = []
    troubles: list[RecordingError | None] = []

    def report(trouble: RecordingError | None) -> None:
        troubles.append(trouble)
        for engine in engines:
            engine.recording_trouble(trouble)

    recorder = NightRecorder(blocked, clock, report)
    engine = NightEngine(lambda path: unsolved_frame(path.name), Jobs(), recorder, clock)
    engines.append(engine)
    engine.recording_trouble(recorder.trouble)
    engine.post(NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4))
    engine.frame_arrived(Path("a.fits"))
    assert engine.state.frames_unsolved == 1
    (notice,) = engine.notices
    assert notice.topic == "recording"
    blocked.unlink()  # somebody makes room
    engine.tick()
    assert engine.notices == () and recorder.waiting == 0
    assert recorder.close()
    assert (blocked / "night.jsonl").read_text().count("\n") >= 5


class HandWorker(InlineWorker):
    """A worker that finishes a job when told to."""

    def __init__(self) -> None:
        self.asked: list[tuple[Callable[[], object], Callable[[Done], None]]] = []

    def ask(self, name: str, job: Callable[[], object], answer: Callable[[Done], None]) -> None:
        self.asked.append((job, answer))

    def finish(self) -> None:
        job, answer = self.asked.pop(0)
        answer(Done(job()))


@pytest.mark.parametrize(("keep", "measured"), [(True, ["1", "2", "3", "4"]), (False, ["1", "4"])])
def test_capture_frames_are_never_dropped_and_of_previews_the_latest_wins(keep: bool, measured: list[str]) -> None:
    worker = HandWorker()
    jobs = Jobs(worker)
    outcomes: list[tuple[str, str]] = []

    def deliver(name: str) -> Callable[[JobOutcome], None]:
        return lambda outcome: outcomes.append((name, type(outcome).__name__))

    for name in "1234":
        jobs.submit(partial(str, name), deliver(name), keep=keep)
    assert len(worker.asked) == 1, "one job at a time is with the worker"
    while worker.asked:
        worker.finish()
    assert [name for name, how in outcomes if how == "Done"] == measured
    assert len(outcomes) == 4, "every job is answered for"


def test_an_overtaken_preview_is_in_the_record() -> None:
    recorder, worker = MemoryRecorder(), HandWorker()
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder, Jobs(worker))
    for name in ("a.fits", "b.fits", "c.fits"):
        engine.frame_arrived(Path(name))
    while worker.asked:
        worker.finish()
    assert recorder.kinds() == ["NightStarted", "frame_overtaken", "frame", "FrameUnsolved", "frame", "FrameUnsolved"]
    assert [data["name"] for kind, data in recorder.lines if kind == "frame"] == ["a.fits", "c.fits"]


def test_frames_that_wait_to_be_measured_are_no_silence_and_hide_not_how_often_they_come() -> None:
    clock, worker = VirtualClock(START), HandWorker()
    night = NightStarted(0.0, MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4, walking=True)
    engine = engine_of(
        lambda path: unsolved_frame(path.name, Unreadable("")), jobs=Jobs(worker), clock=clock, started=night
    )

    def frames(count: int) -> None:
        for number in range(count):
            clock.advance(1.5)
            engine.frame_arrived(Path(f"{number}.fits"))

    def measured() -> None:
        while worker.asked:
            worker.finish()

    def told(seconds: float) -> tuple[str, str]:
        clock.advance(seconds)
        engine.tick()
        return say(engine.advice)[:2]

    engine.post(NextAsked(0.0))  # at the stand silence holds nobody up
    frames(2)
    measured()
    frames(8)
    assert told(0.0) == ("Wait. Frames are still being measured.", BEHIND)
    assert told(100.0)[0].startswith("No frame for"), "one that hangs hides nothing for ever"
    measured()
    assert engine.state.interval_s == pytest.approx(1.5)
    assert told(20.0) == (
        "No frame for 20 s.",
        "They usually come every 1.5 s. Check that the camera is still running.",
    )
