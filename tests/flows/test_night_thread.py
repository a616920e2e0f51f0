"""A night in its own thread, and the window's command as a person starts it."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QObject
from pytestqt.qtbot import QtBot

from night_kit import unsolved_frame
from polewright.core.matching.work import IndexMade
from polewright.core.model import Site, TargetPole
from polewright.core.night import events
from polewright.core.night.events import NOW
from polewright.core.screws.angles import Screw
from polewright.practice.deeds import Done, turn_screw
from polewright.runtime.starting import night_started
from polewright.services.clock import SystemClock
from polewright.services.measuring import MeasuredFrame, Optics
from polewright.services.night_log import read_night
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui.driving.desk import NightOrder
from polewright.ui.driving.faults import Faults
from polewright.ui.driving.live_measure import LiveMeasure
from polewright.ui.driving.snapshot import Snapshot
from polewright.ui.driving.threaded_desk import ThreadedDesk
from polewright.ui.driving.threaded_practice import ThreadedPractice
from polewright.ui.view_model import Work
from polewright.words.objections import refused_words
from sky_solver import shared_catalogue

SITE = Site(52.3, 3.0, 80.0)
REPOSITORY = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def no_thread_stays(qtbot: QtBot) -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    gc.collect()
    left = [t.name for t in threading.enumerate() if t not in before and not t.name.startswith("Dummy")]
    assert left == []


class Heard:
    def __init__(self) -> None:
        self.snapshots: list[Snapshot] = []
        self.threads: set[threading.Thread] = set()

    def __call__(self, snapshot: Snapshot) -> None:
        self.snapshots.append(snapshot)
        self.threads.add(threading.current_thread())

    @property
    def last(self) -> Snapshot:
        return self.snapshots[-1]


def test_a_night_runs_in_its_own_thread_and_tells_here(qtbot: QtBot, tmp_path: Path) -> None:
    measured_in: set[threading.Thread] = set()

    def measure(path: Path) -> MeasuredFrame:
        measured_in.add(threading.current_thread())
        return unsolved_frame(path.name)

    frames = tmp_path / "frames"
    frames.mkdir()
    heard = Heard()
    desk = ThreadedDesk(NightOrder(tmp_path / "night", measure, SystemClock()), heard)
    desk.click(night_started(SITE, TargetPole.REFRACTED, 3e-4))
    desk.watch(frames)
    qtbot.waitUntil(lambda: bool(heard.snapshots) and heard.last.state.plan is not None, timeout=10000)
    desk.click(events.NextAsked(NOW))
    qtbot.waitUntil(lambda: heard.last.state.stage.value == "axis-rotation capture", timeout=10000)
    desk.click(events.NextAsked(NOW))
    qtbot.waitUntil(lambda: heard.last.refused is not None, timeout=10000)
    assert heard.last.refused is not None and "three places" in refused_words(heard.last.refused).cure
    rig = SimulatedRig(SCENARIOS["calm"], 3, shared_catalogue())
    path, _ = rig.write_frame(tmp_path, rig.night.start, 1.0)
    path.rename(frames / path.name)
    qtbot.waitUntil(lambda: heard.last.state.frames_unsolved == 1, timeout=20000)
    qtbot.waitUntil(lambda: heard.last.frame is not None and heard.last.frame.picture is not None, timeout=10000)
    assert heard.threads == {threading.current_thread()}
    assert threading.current_thread() not in measured_in and len(measured_in) == 1
    told = len(heard.snapshots)
    assert desk.stop() == []
    qtbot.wait(20)
    assert len(heard.snapshots) == told  # nothing is told after the end
    assert [line.data["kind"] for line in read_night(tmp_path / "night").events if line.kind == "event"][:2] == [
        "NightStarted",
        "NextAsked",
    ]


def test_a_night_is_taken_up_where_it_ended(qtbot: QtBot, tmp_path: Path) -> None:
    order = NightOrder(tmp_path / "night", lambda path: unsolved_frame(path.name), SystemClock())
    heard = Heard()
    first = ThreadedDesk(order, heard)
    first.click(night_started(SITE, TargetPole.REFRACTED, 3e-4))
    first.click(events.NextAsked(NOW))
    qtbot.waitUntil(lambda: bool(heard.snapshots) and heard.last.state.stage.value == "axis-rotation capture")
    first.stop()
    again = Heard()
    second = ThreadedDesk(order, again)
    qtbot.waitUntil(lambda: bool(again.snapshots))
    assert again.snapshots[0].state.stage is heard.last.state.stage
    assert again.snapshots[0].state.plan == heard.last.state.plan
    second.stop()


def test_a_practice_mount_lives_in_real_time_and_answers_here(qtbot: QtBot, tmp_path: Path) -> None:
    from polewright.practice.world import RehearsalWorld

    answers: list[object] = []
    failures: list[object] = []
    practice = ThreadedPractice(
        lambda: RehearsalWorld("calm", 3, catalogue=shared_catalogue()), tmp_path, SystemClock(), failures.append
    )
    practice.ask(turn_screw(Screw.AZIMUTH, 0.5), answers.append)
    practice.ask(lambda world: world.true_offset(TargetPole.REFRACTED), answers.append)
    qtbot.waitUntil(lambda: len(answers) == 2, timeout=20000)
    practice.stop()
    assert isinstance(answers[0], Done) and 3.0 < answers[0].moving_s < 5.0  # six seconds a turn, and letting go
    assert failures == []


def test_a_practice_mount_that_breaks_says_so(qtbot: QtBot, tmp_path: Path) -> None:
    failures: list[object] = []

    def broken() -> object:
        raise OSError(28, "No space left on device")

    practice = ThreadedPractice(broken, tmp_path, SystemClock(), failures.append)  # type: ignore[arg-type]
    qtbot.waitUntil(lambda: bool(failures))
    practice.stop()
    assert isinstance(failures[0], OSError)


def test_long_preparation_is_told_and_can_be_stopped(qtbot: QtBot, tmp_path: Path) -> None:
    told: list[Work | None] = []
    steps: list[LiveMeasure] = []

    def make(optics: Optics, progress: object) -> object:
        def measure(path: Path) -> MeasuredFrame:
            progress(IndexMade(3.0), 0.4)
            if path.name == "stopped":
                steps[0].stop()
                progress(IndexMade(3.0), 0.5)
            return unsolved_frame(path.name)

        return measure

    live = LiveMeasure(make, Optics(), told.append)  # type: ignore[arg-type]
    steps.append(live)
    live(tmp_path / "a")
    assert told[0] == Work("Learning the star patterns", 0.4)
    assert told[-1] is None
    with pytest.raises(Exception, match="the next frame begins it again"):
        live(tmp_path / "stopped")
    live(tmp_path / "b")
    live.end()
    with pytest.raises(Exception, match="stopped"):
        live(tmp_path / "c")


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_faults_of_every_thread_come_to_one_place(qtbot: QtBot) -> None:
    shown: list[tuple[str, BaseException]] = []
    owner = QObject()
    faults = Faults(lambda where, error: shown.append((where, error)), owner)
    before = sys.excepthook, threading.excepthook
    faults.install()
    try:
        thread = threading.Thread(target=lambda: 1 / 0, name="somewhere")
        thread.start()
        thread.join()
        sys.excepthook(ValueError, ValueError("here"), None)
    finally:
        faults.remove()
        sys.excepthook, threading.excepthook = before
    qtbot.waitUntil(lambda: len(shown) == 2)
    assert [where for where, _ in shown] == ["running somewhere", "running"]
    assert isinstance(shown[0][1], ZeroDivisionError)
    owner.deleteLater()


def without_screen() -> dict[str, str]:
    names = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    return {name: value for name, value in os.environ.items() if name not in names}


@pytest.mark.parametrize("arguments", [["window"], [], ["rehearse"]])
def test_without_a_screen_there_is_a_sentence(arguments: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "polewright", *arguments],
        env=without_screen(),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.strip().startswith("polewright: There is no screen to open a window on.")
    assert len(done.stderr.strip().splitlines()) == 1


CLOSES_ITSELF = """
import sys
from polewright.ui.driving.driver import Driver
begin = Driver.begin
def begin_and_close(self, *args, **more):
    begin(self, *args, **more)
    self._means.scheduler.after(1.5, self._window.close)
Driver.begin = begin_and_close
from polewright.__main__ import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize("arguments", [["window"], ["window", "--rehearse", "--scenario", "calm", "--red"]])
def test_the_program_opens_and_closes_without_a_word(arguments: list[str], tmp_path: Path) -> None:
    env = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "POLEWRIGHT_HOME": str(tmp_path), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-X", "faulthandler", "-c", CLOSES_ITSELF, *arguments],
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    log = (tmp_path / "data" / "log" / "polewright.log").read_text(encoding="utf-8")
    assert "fault" not in log and "WARNING" not in log, log
