"""The list of nights, the rehearsals and the guide in the real window, by keyboard, in virtual time."""

from __future__ import annotations

import lzma
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt, QUrl
from pytestqt.qtbot import QtBot

from polewright.core.night.states import Stage
from polewright.runtime.jobs import Answer, Job
from polewright.services.file_lock import FileLock
from polewright.services.guide import MESSAGES, Place, guide_pages, place_of
from polewright.services.night_log import NightLog, read_night
from polewright.services.rehearsal_folders import RehearsalFolders
from polewright.services.report import history
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui import intents as want
from polewright.ui.driving.nights_scene import NightsScene
from polewright.ui.driving.rehearsal_scene import RehearsalScene
from polewright.ui.driving.replay_scene import ReplayScene
from polewright.ui.view_model import Page, Trouble
from polewright.words.window import MAKE_ROOM, QUESTION
from recorded_nights import FOLDER
from sky_solver import shared_catalogue, shared_solver
from window_in_virtual_time import Bench, Sky, clear_away, virtual_clock

CTRL = Qt.KeyboardModifier.ControlModifier
RETURN = Qt.Key.Key_Return
NIGHTS = ("calm", "southern-sky", "interrupted")


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    """With three real nights and a damaged one on the disk."""
    for number, name in enumerate(NIGHTS):
        folder = tmp_path / "data" / "nights" / f"2026-11-{10 + number}"
        folder.mkdir(parents=True)
        (folder / "night.jsonl").write_bytes(lzma.decompress((FOLDER / f"{name}.jsonl.xz").read_bytes()))
    broken = tmp_path / "data" / "nights" / "2026-11-01"
    broken.mkdir()
    (broken / "night.jsonl").write_bytes(b"\x00\x01 no record")
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()
    clear_away()


def listed(bench: Bench) -> NightsScene:
    bench.driver.begin()
    bench.key(Qt.Key.Key_L, CTRL)
    assert bench.view.page is Page.NIGHTS
    scene = bench.driver.scene
    assert isinstance(scene, NightsScene)
    return scene


def test_all_nights_are_listed_the_latest_first_with_what_they_brought(bench: Bench) -> None:
    scene = listed(bench)
    assert [line.folder.name for line in scene.lines] == ["2026-11-12", "2026-11-11", "2026-11-10", "2026-11-01"]
    nights = bench.view.nights
    assert nights is not None and bench.window.nights.rows.count() == 4
    facts = {fact.label: fact.value for fact in nights.rows[2].facts}
    assert facts["result"] == "proved" and facts["site"] and facts["begun"].endswith("UTC")
    assert facts["at first"] != facts["at last"] and "min" in facts["aligned in"]
    assert len(nights.rows[2].picture.trail) > 5, "the small picture of the trail"
    assert nights.rows[1].picture.southern
    assert "damaged" in nights.rows[3].title and nights.rows[3].facts == ()


def test_the_arrows_choose_and_return_plays_and_leaving_comes_back_to_the_list(bench: Bench) -> None:
    listed(bench)
    bench.key(Qt.Key.Key_Down)
    bench.key(Qt.Key.Key_Down)
    bench.key(RETURN)
    scene = bench.driver.scene
    assert isinstance(scene, ReplayScene) and scene.track.folder.name == "2026-11-10"
    assert not scene.trainee
    bench.key(Qt.Key.Key_W, CTRL)
    assert bench.view.page is Page.NIGHTS
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.page is Page.FIRST_RUN


def test_a_damaged_night_can_only_be_looked_up_and_deleted(bench: Bench) -> None:
    scene = listed(bench)
    bench.driver.act(want.ChooseNight(3))
    assert not next(a for a in bench.view.actions if a.key == "Return").enabled
    bench.key(RETURN)
    bench.key(Qt.Key.Key_R)
    assert bench.driver.scene is scene and scene.report is None


def test_taking_over_asks_at_the_time_of_each_move_with_the_well_on_the_screen(bench: Bench) -> None:
    listed(bench)
    bench.driver.act(want.ChooseNight(2))
    bench.key(Qt.Key.Key_T)
    scene = bench.driver.scene
    assert isinstance(scene, ReplayScene) and scene.trainee and scene.playing
    asked: list[float] = []
    for _ in range(3):
        bench.until(lambda view: view.instruction.sentence == QUESTION, 400.0)
        assert not any(button.loud for button in bench.window.night.primary.buttons), "no answer is advised"
        assert scene.moment.state.stage in (Stage.ROUGH, Stage.FINE)
        assert bench.view.page in (Page.ROUGH, Page.FINE) and bench.view.reticle.axis is not None
        asked.append(scene.position_s)
        bench.key(Qt.Key.Key_1)
        assert bench.view.instruction.sentence != QUESTION
        bench.key(RETURN)
    assert asked == [question.t_s for question in scene.track.questions[:3]] and asked[0] > 60.0


def test_the_report_is_read_in_the_window_and_saved(bench: Bench) -> None:
    listed(bench)
    bench.driver.act(want.ChooseNight(2))
    bench.key(Qt.Key.Key_R)
    report = bench.view.nights.report if bench.view.nights else None
    assert report is not None and len(report.pictures) >= 3
    text = bench.window.nights.report.toPlainText()
    assert "Aligned to" in text and "Nights with this rig" in text and "<svg" not in text
    assert bench.window.nights.report.verticalScrollBar().value() == 0, "read from the beginning"
    bench.key(Qt.Key.Key_P)
    folder = bench.home / "data" / "nights" / "2026-11-10" / "report"
    pdf = (folder / "report.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-") and len(pdf) > 20_000, "text and drawings"
    assert bench.view.trouble is not None and bench.view.trouble.cause == "Saved: report.pdf."
    bench.key(Qt.Key.Key_H)
    assert (folder / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    bench.key(Qt.Key.Key_O)
    assert bench.view.trouble is not None and str(folder / "report.html") in bench.view.trouble.cure
    bench.key(Qt.Key.Key_Escape)  # puts the message away
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.nights is not None and bench.view.nights.report is None


def test_for_a_pdf_every_night_is_read_once(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    listed(bench)
    bench.driver.act(want.ChooseNight(2))
    bench.key(Qt.Key.Key_R)
    beside: list[str] = []

    def read(folder: Path) -> NightLog:
        beside.append(folder.name)
        return read_night(folder)

    monkeypatch.setattr(history, "read_night", read)
    bench.key(Qt.Key.Key_P)
    assert beside == ["2026-11-12", "2026-11-11", "2026-11-01"]


def test_a_night_is_exported_shown_and_deleted_only_when_asked_twice(bench: Bench) -> None:
    listed(bench)
    night = bench.home / "data" / "nights" / "2026-11-12"
    bench.key(Qt.Key.Key_E, CTRL)
    assert (night / "night.csv").is_file()
    bench.key(Qt.Key.Key_F)
    assert bench.view.trouble is not None and str(night) in bench.view.trouble.cure
    bench.key(Qt.Key.Key_Delete)
    assert night.is_dir() and bench.view.trouble is not None and "for good?" in bench.view.trouble.cause
    bench.key(Qt.Key.Key_Down)
    bench.key(Qt.Key.Key_Delete)  # another night: asked anew
    assert len(list(night.parent.iterdir())) == 4
    bench.key(Qt.Key.Key_Up)
    bench.key(Qt.Key.Key_Delete)
    bench.key(Qt.Key.Key_Delete)
    assert not night.exists() and len(list(night.parent.iterdir())) == 3
    assert bench.view.nights is not None and len(bench.view.nights.rows) == 3


def test_while_a_night_is_deleted_no_other_press_takes_its_answer(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = listed(bench)
    held: list[tuple[Job, Answer]] = []
    worker = scene._means.worker
    monkeypatch.setattr(worker, "ask", lambda name, job, answer: held.append((job, answer)))
    bench.key(Qt.Key.Key_Delete)
    bench.key(Qt.Key.Key_Delete)
    assert bench.view.work is not None and bench.view.work.title == "Deleting the night"
    waiting = {action.key for action in bench.view.actions if not action.enabled}
    assert waiting == {"Return", "T", "R", "Ctrl+E", "F", "Delete"}
    for key in (Qt.Key.Key_E, Qt.Key.Key_R, Qt.Key.Key_Delete):
        bench.key(key)
        bench.driver.act(want.OfTheList.EXPORT)
    assert len(held) == 1, "nothing else was begun"
    monkeypatch.undo()
    worker.ask("deleting", *held[0])
    assert bench.view.work is None and len(scene.lines) == 3
    assert bench.view.trouble is not None and bench.view.trouble.cause == "The night 2026-11-12 is deleted."


def test_a_night_that_somebody_writes_to_is_not_deleted(bench: Bench) -> None:
    listed(bench)
    night = bench.home / "data" / "nights" / "2026-11-12"
    lock = FileLock(night / ".lock")
    assert lock.take()
    bench.key(Qt.Key.Key_Delete)
    bench.key(Qt.Key.Key_Delete)
    assert night.is_dir() and bench.view.trouble is not None and "open in another window" in bench.view.trouble.cause
    lock.free()


def test_every_simulated_night_can_be_chosen_with_a_seed(bench: Bench) -> None:
    bench.driver.begin()
    bench.key(Qt.Key.Key_P, CTRL)
    page = bench.window.rehearsals
    told = [page.rows.item(i).text() for i in range(page.rows.count())]
    assert len(told) == len(SCENARIOS) and all(night.story in text for night, text in zip(SCENARIOS.values(), told))
    bench.key(Qt.Key.Key_Up)
    bench.key(Qt.Key.Key_Right)
    bench.key(Qt.Key.Key_Right)
    bench.key(Qt.Key.Key_Left)
    bench.key(RETURN)
    scene = bench.driver.scene
    assert isinstance(scene, RehearsalScene)
    assert (scene.plan.scenario, scene.plan.seed) == ("calm", 2)
    bench.key(Qt.Key.Key_PageUp)
    assert bench.view.rehearsal is not None and bench.view.rehearsal.ra_deg == pytest.approx(-5.0), "up is east"
    assert bench.window.night.knobs.axis.value_text == "5° east"
    bench.key(Qt.Key.Key_PageDown, Qt.KeyboardModifier.ShiftModifier)
    assert bench.view.rehearsal.ra_deg == pytest.approx(-4.0)


@pytest.mark.parametrize("asked", [None, ("calm", 3)], ids=["by key", "by the command"])
def test_without_room_for_a_rehearsal_the_window_says_so_and_stays(
    asked: tuple[str, int] | None, bench: Bench
) -> None:
    def no_room() -> Path:
        return RehearsalFolders(bench.home / "nowhere").make()

    bench.driver._means = replace(bench.driver._means, temporary=no_room)
    bench.driver.begin(None, asked)
    if asked is None:
        bench.key(Qt.Key.Key_P, CTRL)
        bench.key(RETURN)
    assert bench.view.page is Page.FIRST_RUN
    assert bench.view.trouble is not None and "No temporary folder can be made" in bench.view.trouble.cause
    assert bench.view.trouble.cure == MAKE_ROOM


def test_a_trouble_leads_to_the_page_of_the_guide_about_it_and_back(bench: Bench) -> None:
    bench.driver.begin(None, ("calm", 3))
    cause = "Expose longer."
    bench.window.show_view(replace(bench.view, trouble=Trouble(cause, "")))
    bench.key(Qt.Key.Key_Question)
    page = bench.window.guide
    assert page.isVisible() and page.place == Place("messages.md", "Expose longer")
    assert "Expose longer" in page.reader.toPlainText()
    bench.key(Qt.Key.Key_C)
    assert page.place.page == "index.md"
    bench.key(Qt.Key.Key_Backspace)
    bench.key(Qt.Key.Key_Escape)
    assert not page.isVisible() and bench.window.night.isVisible()


def test_the_guide_opens_from_the_page_of_keys(bench: Bench) -> None:
    bench.driver.begin()
    bench.key(Qt.Key.Key_F1)
    bench.key(Qt.Key.Key_Question)
    assert bench.window.guide.isVisible() and bench.window.guide.place.page == "index.md"
    for name in ("first-night.md", "messages.md", "earlier-nights.md"):
        bench.window.guide._on_link(QUrl(name))
        assert bench.window.guide.reader.toPlainText()
    bench.key(Qt.Key.Key_Escape)
    assert bench.window.first.isVisible()


def test_what_the_window_says_is_found_in_the_guide() -> None:
    """Whole sentences, sentences with a number in them, and the page itself for what no page tells of."""
    assert place_of(("Refocus the camera.",)) == Place(MESSAGES, "Refocus the camera")
    assert place_of(("Rotate the RA axis 40° east.",)).words.startswith("Rotate the RA axis")
    assert place_of(("Turn azimuth 1/2 turn clockwise.",)) == Place(MESSAGES, "Turn …")
    assert place_of(("Xyzzy plugh.",), MESSAGES) == Place(MESSAGES)
    assert {"index.md", "cautions.md", MESSAGES} <= guide_pages().keys()


def test_what_is_left_of_a_deleted_night_goes_when_the_list_opens(bench: Bench) -> None:
    nights = bench.home / "data" / "nights"
    for name in (".2026-10-01.deleted-1", ".somebodys", "2026-10-02.deleted-1"):
        (nights / name / "frames").mkdir(parents=True)
    listed(bench)
    assert not (nights / ".2026-10-01.deleted-1").exists()
    assert (nights / ".somebodys").is_dir() and (nights / "2026-10-02.deleted-1").is_dir(), "none of ours"


def test_a_replay_tells_the_heading_by_the_compass_as_the_night_did(bench: Bench) -> None:
    listed(bench)
    bench.driver.act(want.ChooseNight(2))
    bench.key(RETURN)
    assert bench.view.orientation is not None
    assert bench.view.orientation.heading_text.endswith("° magnetic")
