"""Whole nights in the real window, by keyboard alone, in virtual time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from night_kit import rehearsed, unsolved_frame
from polewright.core.errors import FrameReadError
from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW, FolderBack, FolderLost
from polewright.core.unsolved import BelowHorizon
from polewright.practice.deeds import point_camera
from polewright.practice.world import RehearsalWorld
from polewright.runtime.jobs import Done, InlineWorker
from polewright.services.file_lock import FileLock
from polewright.services.folder_survey import FolderSurvey
from polewright.services.measuring import MeasuredFrame
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, SITES
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui import intents as want
from polewright.ui.driving.night_scene import NightScene
from polewright.ui.driving.rehearsal_scene import RehearsalScene
from polewright.ui.driving.replay_scene import ReplayScene
from polewright.ui.driving.replay_track import StoppedError
from polewright.ui.view_model import Page, View
from polewright.words.window import QUESTION
from sky_solver import shared_catalogue, shared_solver
from star_list_nights import StarListsOnly
from window_in_virtual_time import Bench, InlineDesk, InlinePractice, Sky, clear_away, turn_axis, virtual_clock

CTRL = Qt.KeyboardModifier.ControlModifier
RETURN = Qt.Key.Key_Return


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    threads = set(threading.enumerate())
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()
    clear_away()
    assert [t.name for t in threading.enumerate() if t not in threads] == []


def test_frames_that_state_no_time_say_nothing_of_the_clock(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time of their files is the computer's own: it agrees with it whatever the clock says."""
    measured = bench.sky.measure

    def undated(path: Path) -> MeasuredFrame:
        frame = measured(path)
        return replace(frame, frame=replace(frame.frame, dated_by_file=True))

    monkeypatch.setattr(bench.sky, "measure", undated)
    bench.driver.begin()
    bench.key(Qt.Key.Key_P, CTRL)
    bench.key(RETURN)
    bench.wait(30.0)
    assert bench.view.orientation is not None
    clock = {fact.label: fact for fact in bench.view.orientation.facts}["clock"]
    assert (clock.value, clock.words) == ("unknown", "the frames state no time; that of their files is used")


# a rehearsal


def asked(view: View) -> bool:
    """Whether the simulated hands have something to do."""
    assert view.rehearsal is None or view.page is not Page.SCORE
    return view.page is Page.SCORE or (any(isinstance(a.intent, want.DoAsTold) and a.enabled for a in view.actions))


def test_a_whole_rehearsal_by_keyboard(bench: Bench) -> None:
    bench.driver.begin()
    assert bench.view.page is Page.FIRST_RUN
    bench.key(Qt.Key.Key_P, CTRL)
    bench.key(RETURN)
    assert bench.view.page is Page.ORIENTATION
    pages, pressed = [Page.ORIENTATION], ""
    bench.wait(30.0)
    assert bench.view.orientation is not None
    checks = {fact.label: fact for fact in bench.view.orientation.facts}
    assert checks["scale"].words == "as stated"
    assert checks["clock"].words == "frames and computer agree"
    while bench.view.page is not Page.SCORE and bench.clock.monotonic_s() < 1800.0:
        view = bench.until(asked)
        if view.page is not pages[-1]:
            pages.append(view.page)
        if view.page is Page.SCORE:
            break
        key = view.instruction.sentence + view.instruction.reason
        if key != pressed:
            pressed = key
            bench.key(RETURN)
        bench.wait(3.0)
        pressed = "" if bench.view.instruction.tone is Mood.WAIT else pressed
    assert bench.view.page is Page.SCORE
    assert pages[0] is Page.ORIENTATION and {Page.CAPTURE, Page.ROUGH, Page.FINE} <= set(pages)
    facts = {fact.label: fact for fact in bench.view.proof.facts} if bench.view.proof else {}
    assert facts["true error"].verdict is Mood.GOOD
    assert "inside" in bench.view.instruction.reason
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.page is Page.FIRST_RUN
    assert list(bench.home.glob("tmp*")) == []  # frames and record of a rehearsal are thrown away


def test_screws_turned_by_hand_are_reported_once_the_hand_lets_go(bench: Bench) -> None:
    bench.driver.begin(None, ("calm", 3))
    scene = bench.driver.scene
    assert isinstance(scene, RehearsalScene)
    bench.key(RETURN)  # it stands
    for _ in range(3):
        bench.until(lambda view: view.instruction.sentence.startswith("Rotate") or view.page is Page.ROUGH)
        if bench.view.page is Page.ROUGH:
            break
        bench.key(RETURN)
        bench.wait(20.0)
    bench.until(lambda view: any(strip.active for strip in view.strips))
    before = bench.desk.engine.state.handling.reports
    for _ in range(4):
        bench.key(Qt.Key.Key_Right)
    assert bench.view.rehearsal is not None
    assert bench.view.rehearsal.azimuth_turns == pytest.approx(0.5)
    assert bench.desk.engine.state.handling.reports == before
    bench.wait(6.0)
    assert [r.turns for r in bench.desk.engine.state.handling.reports] == [pytest.approx(0.5)]
    bench.until(lambda view: bool(bench.desk.engine.state.azimuth.moves))
    assert bench.desk.engine.state.azimuth.moves[-1].turns == pytest.approx(0.5)


def test_a_click_that_makes_no_sense_is_answered_with_its_cure(bench: Bench) -> None:
    bench.driver.begin(None, ("calm", 3))
    bench.key(RETURN)
    assert bench.view.page is Page.CAPTURE
    bench.driver.act(events.NextAsked(NOW))
    assert bench.view.trouble is not None
    assert bench.view.trouble.cause == "The axis is not measured yet."
    assert "three places" in bench.view.trouble.cure
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.trouble is None
    bench.key(Qt.Key.Key_Backspace)
    assert bench.view.page is Page.ORIENTATION
    bench.key(Qt.Key.Key_Z, CTRL)
    assert bench.view.page is Page.CAPTURE


# a real night


def folder_with_frame(folder: Path) -> Path:
    """A folder where camera software has left one frame of an invented guide scope."""
    folder.mkdir()
    rig = SimulatedRig(SCENARIOS["calm"], 3, shared_catalogue())
    rig.write_frame(folder, rig.night.start, 1.0)
    return folder


def begin_night(bench: Bench, tmp_path: Path) -> tuple[NightScene, InlinePractice]:
    """Through the first page into a night whose frames come from a simulated mount."""
    folder = folder_with_frame(tmp_path / "frames")
    bench.driver.begin()
    bench.driver.act(want.ChooseFolder(folder))
    bench.key(RETURN, CTRL)
    scene = bench.driver.scene
    assert isinstance(scene, NightScene)
    return scene, attach_camera(bench)


def attach_camera(bench: Bench) -> InlinePractice:
    world = RehearsalWorld("calm", 3, catalogue=shared_catalogue())
    bench.sky.lists = StarListsOnly(world, bench.sky.solver, 3, bench.desk.frame_arrived)
    return InlinePractice(world, bench.sky.lists.deliver, bench.clock, bench.clock)


def test_first_run_learns_site_and_rig_from_the_first_frame(bench: Bench, tmp_path: Path) -> None:
    scene, _ = begin_night(bench, tmp_path)
    form = bench.driver._remembered.form
    assert (form.latitude, form.longitude, form.elevation) == ("52.3", "3", "84")
    assert (form.focal_length, form.pixel_size) == ("240", "5")
    assert form.site_from.startswith("from FITS header") and form.site_from.endswith(".fits")
    assert bench.view.page is Page.ORIENTATION
    assert bench.view.title == "52.30° N, 3.00° E · 240 mm, 5 µm pixels"
    assert [s.profile.name for s in ProfileStore(bench.home / "config", SITES).load_all().profiles] == [
        "52.30° N, 3.00° E"
    ]
    (rig,) = ProfileStore(bench.home / "config", RIGS).load_all().profiles
    assert rig.profile.focal_length_mm == 240.0
    assert bench.desk.watched == tmp_path / "frames"
    assert scene.history.first_total_rad is None


def test_the_first_page_says_what_is_wrong(bench: Bench, tmp_path: Path) -> None:
    bench.driver.begin()
    bench.driver.act(want.FillForm("95", "9.8", "80", "240", "5", str(tmp_path / "nowhere")))
    form = bench.view.form
    assert form.site_problem.startswith("The latitude lies between")
    assert form.folder_problem == "There is no folder nowhere: choose another, or let the camera program create it."
    assert not form.ready
    (tmp_path / "nowhere").mkdir()
    bench.driver.act(want.FillForm("52° 20′ 50″ N", "9,8", "80", "240", "5", str(tmp_path / "nowhere")))
    bench.wait(3.0)  # it looks again by itself
    assert bench.view.form.ready


def test_cleared_fields_take_the_values_of_the_frame_again(bench: Bench, tmp_path: Path) -> None:
    folder = folder_with_frame(tmp_path / "frames")
    bench.driver.begin()
    bench.driver.act(want.ChooseFolder(folder))
    form = bench.view.form
    assert (form.latitude, form.longitude, form.elevation) == ("52.3", "3", "84")
    typed = want.FillForm("-33.9", form.longitude, "100", "50", form.pixel_size, form.folder)
    bench.driver.act(typed)
    shown = bench.view.form
    assert (shown.latitude, shown.elevation, shown.focal_length) == ("-33.9", "100", "50")
    bench.driver.act(want.FillForm("", form.longitude, "100", "", form.pixel_size, form.folder))
    form = bench.view.form
    assert (form.latitude, form.longitude, form.elevation, form.focal_length) == ("52.3", "3", "100", "240")
    assert form.optics_from.startswith("from FITS header") and "as you typed it; the rest from" in form.site_from


def test_a_window_closed_before_it_begins_starts_nothing(bench: Bench) -> None:
    started: list[float | None] = []

    def prepare(scale: float | None, tell: object) -> Callable[[], None]:
        started.append(scale)
        return lambda: None

    bench.driver._means = replace(bench.driver._means, prepare_index=prepare)
    bench.driver.begin_when_shown()
    bench.driver.close()
    bench.wait(1.0)
    assert started == []


def test_what_was_typed_is_still_there_after_a_look_elsewhere(bench: Bench, tmp_path: Path) -> None:
    bench.driver.begin()
    bench.driver.act(want.FillForm("-33.9", "18.4", "100", "50", "5", str(tmp_path), temperature="4"))
    for key in (Qt.Key.Key_L, Qt.Key.Key_P):
        bench.key(key, CTRL)
        if key == Qt.Key.Key_P:
            bench.key(RETURN)
            assert isinstance(bench.driver.scene, RehearsalScene)
            bench.driver.act(want.LeaveNight())
        else:
            assert bench.view.page is Page.NIGHTS
            bench.key(Qt.Key.Key_Escape)
        form = bench.view.form
        assert bench.view.page is Page.FIRST_RUN
        assert (form.latitude, form.longitude, form.focal_length, form.temperature) == ("-33.9", "18.4", "50", "4")
        assert form.folder == str(tmp_path)


def test_the_target_pole_is_named_and_the_key_that_changes_it_says_so(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    label = next(action.label for action in bench.view.actions if action.key == "T")
    bench.key(Qt.Key.Key_T)
    trouble = bench.view.trouble
    assert trouble is not None and trouble.cause.startswith("The target is the ")
    assert label.removeprefix("Align to ") in trouble.cause, "the key had said to which"
    bench.key(Qt.Key.Key_BracketLeft)
    assert bench.view.trouble is not None and bench.view.trouble.cause.startswith("Tonight ")
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.trouble is None
    assert bench.view.instruction.caution.startswith("Maker's manual"), "the virtual evening is dark"


def test_the_site_is_mended_where_it_is_doubted(bench: Bench, tmp_path: Path) -> None:
    """Typed with the wrong sign: the frames lie below the horizon, and know better themselves."""
    folder = folder_with_frame(tmp_path / "frames")
    bench.driver.begin()
    bench.driver.act(want.FillForm("-52.3", "3", "84", "240", "5", str(folder), rig_name="guide scope"))
    bench.key(RETURN, CTRL)
    engine = bench.desk.engine
    for number in range(4):
        bench.wait(2.0)
        engine.post(events.FrameUnsolved(engine.now_s(), f"f{number}", BelowHorizon(f"f{number}", 12.0), 40))
    view = bench.until(lambda view: view.instruction.sentence == "Check the site and the clock.", 30.0)
    assert [action.label for action in view.actions[:2]] == ["Use the site of the frames", "Edit site and clock"]
    bench.key(RETURN)
    form = bench.view.form
    assert bench.view.page is Page.FIRST_RUN and (form.latitude, form.longitude) == ("52.3", "3")
    assert form.rig_name == "guide scope" and form.site_name == "52.30° N, 3.00° E"
    assert bench.view.trouble is not None and "measured anew" in bench.view.trouble.cure
    bench.key(RETURN, CTRL)
    assert bench.view.title == "52.30° N, 3.00° E · guide scope"
    assert bench.desk.engine is engine, "the same night goes on"
    bench.key(RETURN)
    bench.key(Qt.Key.Key_I, CTRL)
    assert bench.view.page is Page.FIRST_RUN and bench.view.form.latitude == "52.3"


def test_a_running_night_is_left_only_when_meant(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.key(RETURN)  # it stands: from now on there is something to lose
    bench.key(Qt.Key.Key_W, CTRL)
    assert isinstance(bench.driver.scene, NightScene)
    assert bench.view.trouble is not None and bench.view.trouble.cause.startswith("Leave this night?")
    bench.key(Qt.Key.Key_Escape)  # one key to go on
    assert bench.view.trouble is None
    bench.key(Qt.Key.Key_W, CTRL)
    assert isinstance(bench.driver.scene, NightScene), "the question was answered: it is asked anew"
    assert not bench.window.close() and bench.window.isVisible(), "closing is another question"
    assert bench.view.trouble is not None and bench.view.trouble.cause.startswith("Close the window?")
    bench.key(Qt.Key.Key_Escape)
    bench.key(Qt.Key.Key_W, CTRL)
    bench.key(Qt.Key.Key_W, CTRL)
    assert bench.view.page is Page.FIRST_RUN


def test_a_rehearsal_is_left_at_once(bench: Bench) -> None:
    bench.driver.begin(None, ("calm", 3))
    bench.key(Qt.Key.Key_W, CTRL)
    assert bench.view.page is Page.FIRST_RUN


def test_while_nothing_arrives_the_page_tells_what_lies_in_the_folder(bench: Bench, tmp_path: Path) -> None:
    _, practice = begin_night(bench, tmp_path)
    practice.stop()
    bench.wait(10.0)
    bench.desk.survey = FolderSurvey(tmp_path / "frames", 3, None, (("ser", 2),), below=(("lights", 9),))
    assert bench.view.trouble is None, "a frame may take its time"
    bench.wait(20.0)
    trouble = bench.view.trouble
    assert trouble is not None and trouble.cause.startswith("No new frame in frames: 3 frames there.")
    assert "sub-folder lights" in trouble.cause and "Ctrl+O" in trouble.cure
    bench.key(Qt.Key.Key_Escape)
    bench.wait(20.0)
    assert bench.view.trouble is None, "what was read stays away"
    bench.key(Qt.Key.Key_O, CTRL)
    assert bench.window.folders.folder == tmp_path / "frames", "the page begins where the frames should be"
    (tmp_path / "frames" / "lights").mkdir()
    bench.window.folders.go(tmp_path / "frames")
    bench.key(Qt.Key.Key_Down)
    bench.key(RETURN, CTRL)
    assert bench.desk.watched == tmp_path / "frames" / "lights"
    bench.close()
    again = Bench(tmp_path, bench.sky, bench.clock).open()
    again.driver.begin()
    assert again.desk.watched == tmp_path / "frames" / "lights", "the folder chosen during a night is remembered"
    again.driver.act(want.LeaveNight())
    assert again.view.form.folder == str(tmp_path / "frames" / "lights")
    again.close()


def test_the_first_page_follows_folders_by_date(bench: Bench, tmp_path: Path) -> None:
    for night in ("2026-11-17", "2026-11-18", "2026-11-19", "2026-11-20"):
        (tmp_path / "camera" / night).mkdir(parents=True)
    folder_with_frame(tmp_path / "camera" / "2026-11-20" / "sky")
    bench.driver.begin()
    bench.driver.act(want.ChooseFolder(tmp_path / "camera"))
    form = bench.view.form
    assert form.latitude == "52.3", "the newest frame below tells the site"
    assert "2026-11-20" in form.folder_note and form.folder_note.endswith("by date")
    (tmp_path / "other" / "sky").mkdir(parents=True)
    folder_with_frame(tmp_path / "other" / "sky" / "x").rename(tmp_path / "other" / "night")
    bench.driver.act(want.ChooseFolder(tmp_path / "other"))
    assert bench.view.form.folder_note == "There are frames in the sub-folder night"


def test_a_lost_folder_is_told_and_its_return_noticed(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.desk.engine.post(FolderLost(bench.desk.engine.now_s(), "The share has gone."))
    assert bench.view.instruction.tone is Mood.TROUBLE
    assert bench.view.instruction.reason.startswith("The share has gone.") and bench.view.trouble is None
    bench.key(RETURN)  # choose another folder: the window's own page opens
    assert bench.window._stack.currentWidget() is bench.window.folders
    bench.key(Qt.Key.Key_Escape)
    bench.desk.engine.post(FolderBack(bench.desk.engine.now_s()))
    assert bench.view.trouble is None
    assert bench.view.instruction.tone is Mood.DO


def test_the_scale_that_the_stars_gave_stays_after_a_bad_frame(bench: Bench, tmp_path: Path) -> None:
    _, practice = begin_night(bench, tmp_path)

    def scale() -> str:
        page = bench.view.orientation
        assert page is not None
        return {fact.label: fact.value for fact in page.facts}["scale"]

    bench.until(lambda _: scale() != "not yet")
    known = scale()
    practice.stop()

    def measure(path: Path) -> MeasuredFrame:
        return unsolved_frame(path.name)

    bench.sky.measure = measure  # type: ignore[method-assign]
    bench.desk.frame_arrived(tmp_path / "cloud.fits")
    assert scale() == known


def test_bad_frames_name_their_cure_and_the_night_goes_on(bench: Bench, tmp_path: Path) -> None:
    _, practice = begin_night(bench, tmp_path)
    bench.key(RETURN)
    bench.until(lambda view: view.instruction.sentence.startswith("Rotate"))
    practice.stop()
    outcomes: list[MeasuredFrame | Exception] = [
        unsolved_frame("nought.fits"),
        unsolved_frame("one.fits"),
        unsolved_frame("much-later.fits"),
        FrameReadError("two.fits is cut short: the camera software was stopped while writing."),
        ZeroDivisionError("a fault of ours"),
    ]

    def measure(path: Path) -> MeasuredFrame:
        outcome = outcomes.pop(0)
        if isinstance(outcome, Exception):
            raise outcome
        return outcome

    bench.sky.measure = measure  # type: ignore[method-assign]
    bench.desk.frame_arrived(tmp_path / "nought.fits")
    assert bench.view.trouble is None  # one alone is what a turn of the axis does
    bench.desk.frame_arrived(tmp_path / "one.fits")
    assert bench.view.trouble is None  # nor are two, while a hand may still be turning it
    bench.wait(46.0)
    bench.desk.frame_arrived(tmp_path / "much-later.fits")
    assert bench.view.instruction.sentence.startswith("Rotate the RA axis 40°")  # no rotation takes so long
    assert "If you have not turned yet, wait: a cloud." in bench.view.instruction.reason
    bench.desk.frame_arrived(tmp_path / "two.fits")
    bench.desk.frame_arrived(tmp_path / "three.fits")
    assert bench.view.trouble is not None
    assert "fault in the program" in bench.view.trouble.cause
    bench.key(Qt.Key.Key_Escape)
    del bench.sky.measure
    attach_camera(bench)
    bench.until(lambda view: "not turned yet" not in view.instruction.reason)
    assert bench.view.instruction.sentence.startswith("Rotate")
    left = bench.view.trouble  # the camera of this bench is dated a week before its clock, which is told in time
    assert left is None or left.cause.startswith("Frame times are 7 days behind")


def test_every_loss_is_told_before_the_window_closes(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told once; told again when the trouble had ended meanwhile, and in another night."""
    begin_night(bench, tmp_path)
    trouble = [""]
    monkeypatch.setattr(InlineDesk, "unwritten", property(lambda _: trouble[0]))

    def asked(now: str) -> bool:
        trouble[0] = now
        bench.driver.refresh()
        return bench.driver.may_close()

    assert [asked("The disk is full."), asked("The disk is full.")] == [False, True]
    trouble[0] = ""
    bench.driver.refresh()
    assert not asked("The disk is full.")
    bench.driver.act(want.LeaveNight())
    (tmp_path / "another").mkdir()
    begin_night(bench, tmp_path / "another")
    assert not asked("The disk is full.")


def test_closing_in_the_middle_loses_nothing(bench: Bench, qtbot: QtBot, tmp_path: Path) -> None:
    _, practice = begin_night(bench, tmp_path)
    bench.key(RETURN)
    turn_axis(bench, practice)
    bench.until(lambda view: any(strip.active for strip in view.strips), 240.0)
    practice.stop()
    page, axis, instruction = bench.view.page, bench.view.reticle.axis, bench.view.instruction.sentence
    bench.close()

    again = Bench(tmp_path, bench.sky, bench.clock).open()
    again.driver.begin()
    assert again.view.page is page
    assert again.view.reticle.axis == axis
    assert again.view.instruction.sentence == instruction
    assert again.view.trouble is not None and "goes on" in again.view.trouble.cause
    again.key(Qt.Key.Key_Escape)
    assert again.view.trouble is None
    again.key(Qt.Key.Key_W, CTRL)
    again.key(Qt.Key.Key_W, CTRL)
    assert again.view.page is Page.FIRST_RUN
    again.close()

    third = Bench(tmp_path, bench.sky, bench.clock).open()
    third.driver.begin()
    assert third.view.page is Page.FIRST_RUN  # a night that was left is not taken up again
    third.close()


def test_a_second_window_leaves_the_night_to_the_first(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    night = Path(bench.driver._remembered.open_night)
    bench.close()
    lock = FileLock(night / ".lock")
    assert lock.take()
    again = Bench(tmp_path, bench.sky, bench.clock).open()
    again.driver.begin()
    assert again.view.page is Page.FIRST_RUN
    assert again.view.trouble is not None and "open in another window" in again.view.trouble.cause
    lock.free()
    again.close()


def test_target_and_tolerance_change_from_the_menu_keys(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    assert bench.view.reticle.tolerance_text == "usual tolerance: 30″"
    bench.key(Qt.Key.Key_BracketRight)
    assert bench.view.reticle.tolerance_text == "as you set it: 60″"
    target = bench.desk.engine.state.plan.target
    bench.key(Qt.Key.Key_T)
    assert bench.desk.engine.state.plan.target is not target


def test_the_night_is_written_out_beside_its_record(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.wait(30.0)
    bench.key(Qt.Key.Key_E, CTRL)
    assert bench.view.trouble is not None and bench.view.trouble.cause == "Exported: night.csv and night.json."
    folder = Path(bench.driver._remembered.open_night)
    assert "solution" in (folder / "night.json").read_text(encoding="utf-8")
    assert (folder / "night.csv").read_text(encoding="utf-8").startswith("seq,t_s,utc,kind")


class HeldWorker(InlineWorker):
    """Begins nothing until it is let go, as one does that is busy."""

    def __init__(self) -> None:
        self.held: list[tuple[str, Callable[[], Any]]] = []

    def ask(self, name: str, job: Callable[[], Any], answer: Callable[[Done], None]) -> None:
        self.held.append((name, job))


def test_an_export_is_stopped_by_the_pointer_and_leaves_nothing(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.wait(30.0)
    scene, worker = bench.driver.scene, HeldWorker()
    assert isinstance(scene, NightScene)
    scene._means = replace(scene._means, worker=worker)
    bench.key(Qt.Key.Key_E, CTRL)
    stop = bench.window.night.keys.stop
    assert bench.view.work is not None and stop.isVisible()
    QTest.mouseClick(stop, Qt.MouseButton.LeftButton)
    bench.wait(1.0)
    assert bench.view.work is None and not stop.isVisible()
    with pytest.raises(StoppedError):
        worker.held[0][1]()
    assert not list(Path(bench.driver._remembered.open_night).glob("night.[cj]s*[vn]"))


def test_a_fault_is_a_quiet_panel_and_the_session_goes_on(bench: Bench) -> None:
    bench.driver.begin(None, ("calm", 3))
    bench.driver.fault("drawing", ValueError("impossible"))
    assert bench.view.trouble is not None
    assert bench.view.trouble.cause == "A fault in the program while drawing: ValueError."
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.trouble is None
    bench.wait(2.0)


# a recording


def open_recording(bench: Bench) -> ReplayScene:
    night = rehearsed("calm", 3)
    folder = bench.home / "recorded"
    folder.mkdir()
    (folder / "night.jsonl").write_bytes(night.blob)
    bench.driver.begin()
    bench.driver.act(want.OpenReplay(folder / "night.jsonl"))
    scene = bench.driver.scene
    assert isinstance(scene, ReplayScene)
    return scene


def test_a_recording_is_played_scrubbed_and_stepped(bench: Bench) -> None:
    scene = open_recording(bench)
    assert bench.view.replay is not None and bench.view.replay.position_s == 0.0
    bench.key(Qt.Key.Key_Space)
    bench.wait(5.0)
    assert scene.position_s == pytest.approx(50.0, abs=2.0)  # ten times as fast
    bench.key(Qt.Key.Key_Up)
    bench.wait(5.0)
    assert scene.position_s == pytest.approx(150.0, abs=4.0)
    bench.key(Qt.Key.Key_Space)
    at = scene.position_s
    bench.wait(5.0)
    assert scene.position_s == at
    bench.key(Qt.Key.Key_Left)
    assert scene.position_s == pytest.approx(at - 10.0)
    bench.key(Qt.Key.Key_Period)
    forward = scene.position_s
    bench.key(Qt.Key.Key_Comma)
    assert scene.position_s < forward
    bench.driver.act(want.Scrub(1e9))
    assert bench.view.page is Page.PROOF
    assert bench.view.rail[-1].note == "confirmed"
    bench.until(lambda view: view.frame is not None)
    assert bench.view.frame is not None and "matched" in bench.view.frame.stars_text, "the stars are recorded always"
    assert bench.view.timeline is not None and bench.view.timeline.position_s == scene.track.length_s
    bench.key(Qt.Key.Key_W, CTRL)
    assert bench.view.page is Page.NIGHTS
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.page is Page.FIRST_RUN


def test_a_trainee_is_asked_before_each_turn_and_told_the_truth(bench: Bench) -> None:
    scene = open_recording(bench)
    bench.key(Qt.Key.Key_T)
    bench.key(Qt.Key.Key_Space)
    bench.until(lambda view: view.replay is not None and view.instruction.sentence == QUESTION)
    assert bench.view.instruction.sentence == "What would you turn now?"
    assert bench.view.reticle.path == () and not any(s.active for s in bench.view.strips)
    bench.key(Qt.Key.Key_Space)
    assert not scene.playing  # the question comes first
    bench.key(Qt.Key.Key_1)
    assert scene.lesson is not None and scene.lesson.answered
    assert "That night:" in bench.view.instruction.reason
    assert bench.view.instruction.tone is not Mood.WAIT, "the answer asks to go on"
    bench.key(RETURN)
    assert scene.playing
    bench.until(lambda view: view.replay is not None and view.instruction.sentence == QUESTION)
    assert len(scene._answered) == 2


def test_what_is_no_recording_is_refused_in_words(bench: Bench) -> None:
    bench.driver.begin()
    empty = bench.home / "night.jsonl"
    empty.write_bytes(b"")
    bench.driver.act(want.OpenReplay(empty))
    assert bench.view.page is Page.FIRST_RUN
    assert bench.view.trouble is not None and "contains no night" in bench.view.trouble.cause
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.trouble is None


def test_nothing_of_qt_is_left_behind(qtbot: QtBot, tmp_path: Path) -> None:
    for _ in range(2):
        made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
        made.driver.begin(None, ("calm", 3))
        made.wait(3.0)
        made.close()
    clear_away()
    assert [w for w in QApplication.topLevelWidgets() if w.isVisible()] == []


def test_the_camera_points_before_it_exposes() -> None:
    world = RehearsalWorld("calm", 3, catalogue=shared_catalogue())
    assert 0.0 < point_camera(-1.5)(world).moving_s < 60.0
