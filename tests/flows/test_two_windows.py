"""Two windows on one folder and one profile, a clock that is set while the night runs, and the shortest way in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from flows.test_window_nights import CTRL, RETURN, begin_night, folder_with_frame
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS
from polewright.ui.driving.night_scene import NightScene
from polewright.ui.view_model import Page
from sky_solver import shared_catalogue, shared_solver
from window_in_virtual_time import Bench, Sky, clear_away, virtual_clock


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()
    clear_away()


def test_a_second_window_says_that_the_night_is_open_and_takes_nothing_from_it(bench: Bench, tmp_path: Path) -> None:
    """The first goes on; the second may begin a night of its own, of the same rig in the same folder."""
    begin_night(bench, tmp_path)
    bench.key(RETURN)
    first = Path(bench.driver._remembered.open_night)
    second = Bench(tmp_path, bench.sky, bench.clock).open()
    second.driver.begin()
    assert second.view.page is Page.FIRST_RUN
    assert second.view.trouble is not None and "open in another window" in second.view.trouble.cause
    second.key(RETURN, CTRL)
    assert isinstance(second.driver.scene, NightScene) and second.driver.scene.folder != first
    bench.until(lambda view: view.instruction.sentence.startswith("Rotate"))
    assert bench.view.trouble is None or "fault" not in bench.view.trouble.cause
    assert len(ProfileStore(tmp_path / "config", RIGS).load_all().profiles) == 1, "one rig, known to both"
    lines = (first / "night.jsonl").read_bytes().count(b"\n")
    second.close()
    bench.wait(10.0)
    assert (first / "night.jsonl").read_bytes().count(b"\n") > lines, "the first is still being recorded"


def test_with_headers_that_tell_and_a_known_rig_one_key_begins(bench: Bench, tmp_path: Path) -> None:
    """The second night in the same folder: Ctrl+Enter on the first page, nothing typed or chosen."""
    _, practice = begin_night(bench, tmp_path)
    practice.stop()
    bench.close()
    bench.clock.advance(86400.0)
    again = Bench(tmp_path, bench.sky, bench.clock).open()
    again.driver.begin()
    if again.view.page is not Page.FIRST_RUN:
        again.key(Qt.Key.Key_W, CTRL)
    assert again.view.page is Page.FIRST_RUN and again.view.form.ready
    again.key(RETURN, CTRL)
    assert isinstance(again.driver.scene, NightScene) and again.view.page is Page.ORIENTATION
    again.close()


def test_a_first_night_takes_one_folder_and_two_confirmations(bench: Bench, tmp_path: Path) -> None:
    """With frames whose headers tell site and optics nothing is typed: folder, begin, it stands; then it measures."""
    folder = folder_with_frame(tmp_path / "sky")
    bench.driver.begin()
    bench.window.first.set_folder(folder)
    bench.key(RETURN, CTRL)
    assert bench.view.page is Page.ORIENTATION
    bench.key(RETURN)
    assert bench.view.page is Page.CAPTURE
