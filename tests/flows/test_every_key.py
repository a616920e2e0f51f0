"""Every key that is shown, in every stage: something is seen to happen at once, or it is said why not."""

from __future__ import annotations

import lzma
from collections.abc import Iterator
from dataclasses import replace
from enum import Enum, auto
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from time import process_time

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from polewright.core.night.events import DriftAsked, FolderBack, FolderLost
from polewright.core.night.states import Running, Stage, Trouble
from polewright.core.night.table import step
from polewright.core.unsolved import Fault
from polewright.ui import intents as want
from polewright.ui.driving.night_scene import NightScene
from polewright.ui.driving.replay_track import load_track
from polewright.ui.keys import action_for_key, all_keys
from polewright.ui.theme import Light
from polewright.ui.view_model import Page
from polewright.words.window import CLOCKS_AGREE, NOTHING_TO_CONFIRM
from recorded_nights import FOLDER
from sky_solver import shared_catalogue, shared_solver
from window_in_virtual_time import Bench, Sky, clear_away, virtual_clock

AT_ONCE_S = 0.1  # of processor time: what a hand takes for at once (Card, Robertson and Mackinlay 1991, from memory)
NAMES = {"Return": Qt.Key.Key_Return, "Backspace": Qt.Key.Key_Backspace, "Escape": Qt.Key.Key_Escape}
IN_PAIRS = {"← →": ("Left", "Right"), "↑ ↓": ("Up", "Down"), "PgUp PgDn": ("PgUp", "PgDown"), ", .": (",", ".")}


class Moment(Enum):
    """Where a night may stand when a key is pressed: every stage, and what lies over it."""

    ORIENTATION = auto()
    CAPTURE = auto()
    DRIFT = auto()
    ROUGH = auto()
    FINE = auto()
    PROOF = auto()
    WATCH = auto()
    PAUSED = auto()
    CLICKED = auto()  # a click can be taken back


@cache
def states() -> dict[Moment, Running]:
    """One of each, from a recorded night."""
    folder = Path(mkdtemp())
    (folder / "night.jsonl").write_bytes(lzma.decompress((FOLDER / "calm.jsonl.xz").read_bytes()))
    track = load_track(folder)
    seen = [m.state for m in track.moments if isinstance(m.state, Running)]

    def last(stage: Stage, aligned: bool = False) -> Running:
        return replace([s for s in seen if s.stage is stage and s.aligned is aligned][-1], undo=None)

    found = {
        Moment.ORIENTATION: last(Stage.ORIENTATION),
        Moment.CAPTURE: last(Stage.CAPTURE),
        Moment.ROUGH: last(Stage.ROUGH),
        Moment.FINE: last(Stage.FINE),
        Moment.PROOF: last(Stage.PROOF),
        Moment.WATCH: last(Stage.PROOF, aligned=True),
        Moment.PAUSED: replace(last(Stage.FINE), paused=True),
        Moment.CLICKED: replace(last(Stage.FINE), undo=last(Stage.FINE)),
    }
    drifting, _ = step(last(Stage.CAPTURE), DriftAsked(last(Stage.CAPTURE).now_s + 1.0))
    assert isinstance(drifting, Running)
    return {**found, Moment.DRIFT: drifting}


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()
    clear_away()


def begin(bench: Bench) -> None:
    bench.driver.begin()
    folder = bench.home / "frames"
    folder.mkdir()
    bench.driver.act(want.FillForm("52.3", "3", "84", "240", "5", str(folder)))
    bench.driver.act(want.StartNight())


class Elsewhere:
    """A worker of which no answer has come yet: its time is not the window's."""

    def ask(self, name: str, job: object, answer: object) -> None: ...

    def forget(self, name: str) -> None: ...

    def stop(self) -> None: ...


def night(bench: Bench) -> NightScene:
    scene = bench.driver.scene
    assert isinstance(scene, NightScene)
    return scene


def stand_at(bench: Bench, state: Running) -> None:
    """The night as it stood at that moment, and nothing over it."""
    window = bench.window
    window.menu.hide()
    if window.settings.light is Light.RED:
        window.act(want.OfTheWindow.RED_LIGHT)
    window.reading = False
    window._bring(window.night)
    scene = night(bench)
    scene._planning._worker = Elsewhere()
    bench.driver._asked = ""
    scene._own_notices = ()
    scene._read_off = None
    bench.desk.engine.notices = ()
    bench.desk.engine.course.state = state
    bench.desk._maker.refused = None
    bench.desk._tell_now()
    QApplication.processEvents()


def picture(bench: Bench) -> tuple[QImage, object]:
    window = bench.window
    shown = (window._stack.currentWidget(), window.menu.isVisible(), window.windowState(), window.isVisible())
    return window.grab().toImage(), shown


def press(name: str) -> None:
    combination = QKeySequence(name.replace("Escape", "Esc"))[0]
    target = QApplication.focusWidget() or QApplication.activeWindow()
    assert target is not None
    QTest.keyClick(target, NAMES.get(name, combination.key()), combination.keyboardModifiers())
    QApplication.processEvents()


@pytest.mark.qt_log_ignore("This plugin does not support")  # a menu, on a platform without a keyboard to grab
@pytest.mark.parametrize("moment", Moment)
def test_every_key_that_is_shown_is_seen_to_do_something_at_once(bench: Bench, moment: Moment) -> None:
    begin(bench)
    stand_at(bench, states()[moment])
    silent, slow = [], []
    for shown, label in all_keys(bench.view):
        if shown in ("Tab", "Escape", "Ctrl+Q"):
            continue  # the buttons' frame and the page on top, told elsewhere; closing asks first
        for name in IN_PAIRS.get(shown, (shown,)):
            stand_at(bench, states()[moment])
            before = picture(bench)
            began = process_time()
            press(name)
            took = process_time() - began
            if picture(bench) == before:
                silent.append(f"{name} ({label})")
            if took > AT_ONCE_S:
                slow.append(f"{name} ({label}): {1000 * took:.0f} ms")
            if bench.driver._behind is not None:
                bench.driver.act(want.LeaveForm())
            if not isinstance(bench.driver.scene, NightScene):
                bench.driver.act(want.StartNight())
    assert silent == []
    assert slow == []


def test_a_folder_lost_after_the_proof_is_put_away_until_it_is_lost_again(bench: Bench) -> None:
    """The instruction tells of the proof then: the loss is a notice, which Escape puts away like any other."""
    begin(bench)
    stand_at(bench, states()[Moment.WATCH])
    engine = bench.desk.engine
    engine.post(FolderLost(engine.now_s(), "The share has gone."))
    assert bench.view.trouble is not None and bench.view.trouble.cause == "The share has gone."
    assert "Ctrl+O" in bench.view.trouble.cure
    assert ("Escape", "put the notice away") in all_keys(bench.view)
    press("Escape")
    assert bench.view.trouble is None
    assert "Escape" not in dict(all_keys(bench.view)), "any key leaves the page of keys"
    engine.post(FolderBack(engine.now_s()))
    engine.post(FolderLost(engine.now_s(), "The share has gone."))
    assert bench.view.trouble is not None, "another loss is news"


def test_the_keys_that_habit_presses_are_answered_where_they_do_nothing(bench: Bench) -> None:
    """Enter while nothing is to be confirmed, and Ctrl+K, which sentences name, while no clock is doubted."""
    begin(bench)
    stand_at(bench, states()[Moment.CAPTURE])
    assert action_for_key(bench.view.actions, "Return") is None
    press("Return")
    assert bench.view.trouble is not None and bench.view.trouble.cause == NOTHING_TO_CONFIRM
    stand_at(bench, states()[Moment.CAPTURE])
    press("Ctrl+K")
    assert bench.view.trouble is not None and bench.view.trouble.cause == CLOCKS_AGREE


def test_neither_silence_nor_bad_frames_hold_up_the_setting_up_of_the_mount(bench: Bench) -> None:
    begin(bench)
    stand = states()[Moment.ORIENTATION]
    silent = replace(stand, plan=replace(stand.plan, walking=True), arrived_s=1.0, interval_s=1.5, now_s=500.0)
    failing = replace(stand, trouble=Trouble(Fault("a.fits"), 9, stand.now_s - 60.0))
    for state in (silent, failing):
        stand_at(bench, state)
        done = action_for_key(bench.view.actions, "Return")
        assert done is not None and done.label == "Mount is set up"
    stand_at(bench, silent)
    assert bench.view.instruction.sentence.startswith("Point the axis")
    press("Return")
    assert bench.view.page is Page.CAPTURE
