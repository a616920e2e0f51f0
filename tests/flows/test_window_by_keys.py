"""The whole window by keyboard alone, and what every press asks for."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import QObject, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW
from polewright.core.screws.angles import Screw
from polewright.services.paths import data_folder
from polewright.ui import intents as want
from polewright.ui.buttons import PlainButton
from polewright.ui.folder_dialog import FolderPage
from polewright.ui.keys import WINDOW_ACTIONS, bar_keys
from polewright.ui.knobs import Knob
from polewright.ui.listening import Listening
from polewright.ui.main_window import MainWindow
from polewright.ui.presenting.nights import nights_view
from polewright.ui.settings import WindowSettings
from polewright.ui.sound_plan import Phrase
from polewright.ui.theme import Light
from polewright.ui.view_model import ReportPage, Trouble, View, Work
from screens.demo_views import PAGES
from window_in_virtual_time import clear_away


class Ears(Listening):
    """Remembers what would have been heard."""

    def __init__(self) -> None:
        self.played: list[Phrase] = []
        self.said: list[str] = []
        self.hushed = 0

    def play(self, phrase: Phrase) -> None:
        self.played.append(phrase)

    def say(self, sentence: str) -> None:
        self.said.append(sentence)

    def hush(self) -> None:
        self.hushed += 1


class Bench:
    """A shown window and everything it asked for."""

    def __init__(self) -> None:
        self.ears = Ears()
        self.window = MainWindow(WindowSettings(), self.ears)
        self.window.night.well.animated = False
        self.asked: list[want.Intent] = []
        self.settings: list[WindowSettings] = []
        self.window.wanted.connect(self.asked.append)
        self.window.settings_changed.connect(self.settings.append)
        self.window.show()
        self.window.activateWindow()
        QApplication.processEvents()

    def show(self, page: str) -> None:
        self.window.show_view(PAGES[page]())
        QApplication.processEvents()
        self.asked.clear()

    def key(self, key: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(QApplication.focusWidget() or self.window, key, held)

    def last(self) -> want.Intent:
        return self.asked[-1]


@pytest.fixture
def bench(qtbot: QtBot) -> Iterator[Bench]:
    threads = set(threading.enumerate())
    made = Bench()
    yield made
    made.window.close()
    made.window.deleteLater()
    clear_away()
    leaked = [t.name for t in threading.enumerate() if t not in threads]
    assert leaked == [], f"threads left behind: {leaked}"
    assert QApplication.overrideCursor() is None


CTRL = Qt.KeyboardModifier.ControlModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier


def test_first_page_by_keyboard(bench: Bench) -> None:
    bench.show("first-run")
    first = bench.window.first
    first.latitude.edit.setFocus(Qt.FocusReason.TabFocusReason)
    first.latitude.edit.selectAll()
    QTest.keyClicks(first.latitude.edit, "-33.9")
    for field in first.fields[1:]:
        bench.key(Qt.Key.Key_Tab)
        assert QApplication.focusWidget() is field.edit
    assert isinstance(bench.last(), want.FillForm)
    assert bench.last().latitude == "-33.9"
    bench.key(Qt.Key.Key_Return, CTRL)
    assert [type(i) for i in bench.asked[-2:]] == [want.FillForm, want.StartNight]
    bench.key(Qt.Key.Key_P, CTRL)
    bench.key(Qt.Key.Key_Return)
    assert bench.last() == want.StartRehearsal("first-night", 1)


def test_letters_on_the_first_page_go_into_the_fields(bench: Bench) -> None:
    bench.show("first-run")
    bench.window.first.folder.edit.setFocus()
    bench.window.first.folder.edit.clear()
    QTest.keyClicks(bench.window.first.folder.edit, "/nights/run")
    assert bench.window.first.folder.edit.text() == "/nights/run"
    assert bench.window.settings.light is Light.DAY
    assert not bench.window.reading


def test_what_is_being_typed_is_not_overwritten_by_a_fresh_view(bench: Bench) -> None:
    bench.show("first-run")
    edit = bench.window.first.latitude.edit
    edit.setFocus()
    edit.setText("51.")
    bench.window.show_view(PAGES["first-run"]())
    assert edit.text() == "51."


@pytest.mark.parametrize("page", [p for p in PAGES if not p.startswith("first-")])
def test_every_action_of_every_page_has_a_key_that_works(bench: Bench, page: str) -> None:
    view = PAGES[page]()
    keys = {
        "Return": (Qt.Key.Key_Return, None), "Backspace": (Qt.Key.Key_Backspace, None),
        "Delete": (Qt.Key.Key_Delete, None), "Escape": (Qt.Key.Key_Escape, None),
    }  # fmt: skip
    bench.show(page)
    if view.work is not None:
        bench.key(Qt.Key.Key_Escape)
        assert bench.last() == want.CancelWork()
    names = [a.key for a in view.actions]
    assert len(set(names)) == len(names), "one key, one meaning"
    assert not set(names) & {a.key for a in WINDOW_ACTIONS}, "the window's own keys stay the window's"
    for action in view.actions:
        if action.intent in (want.ChooseFolder(),):
            continue
        bench.asked.clear()
        if action.key in keys:
            bench.key(keys[action.key][0])
        elif action.key.startswith("Ctrl+"):
            bench.key(Qt.Key(ord(action.key[-1])), CTRL)
        else:
            bench.key(Qt.Key(ord(action.key)))
        assert bench.asked == [action.intent], action


def test_escape_has_one_meaning_at_a_time(bench: Bench) -> None:
    """What it would do is written on one button or on the bar, never on two."""
    nights = nights_view((), 0, False, None, None, None)

    def escapes(view: View) -> list[str]:
        bench.window.show_view(view)
        bench.window.grab()
        buttons = [b.text() for b in bench.window.findChildren(PlainButton) if b.isVisible() and b.key == "Escape"]
        return buttons + [words for key, words in bar_keys(view, bench.window.settings) if key == "Escape"]

    assert escapes(nights) == ["Back"]
    assert escapes(replace(nights, work=Work("Reading the night"))) == ["stop this work"]
    assert escapes(replace(nights, trouble=Trouble("Saved.", ""))) == ["Dismiss"]


def test_escape_leaves_the_report_though_the_night_was_read_in_the_reading_mode(bench: Bench) -> None:
    report = ReportPage("2026-11-29", "<p>Aligned.</p>", ())
    bench.window.set_reading(True)
    bench.window.show_view(nights_view((), 0, False, report, None, None))
    bench.key(Qt.Key.Key_Escape)
    assert bench.asked == [want.OfTheList.LEAVE_REPORT]


def test_a_disabled_action_does_nothing_and_says_why(bench: Bench) -> None:
    view = PAGES["capture"]()
    first = replace(view.actions[0], enabled=False, why_not="Three frames are needed first.")
    bench.window.show_view(replace(view, actions=(first, *view.actions[1:])))
    bench.key(Qt.Key.Key_Return)
    assert bench.asked == [want.SayWhyNot("Three frames are needed first.")]
    button = bench.window.night.primary.buttons[0]
    assert not button.isEnabled()
    assert button.toolTip() == "Three frames are needed first."


def test_tab_reaches_every_button_and_enter_presses_it(bench: Bench) -> None:
    bench.show("rehearsal")
    seen: list[QWidget] = []
    for _ in range(20):
        bench.key(Qt.Key.Key_Tab)
        focused = QApplication.focusWidget()
        assert focused is not None
        seen.append(focused)
    night = bench.window.night
    wanted = [b for row in (night.primary, night.plain) for b in row.buttons if b.isVisible()]
    assert set(wanted) | set(night.knobs.findChildren(Knob)) | {night.menu_button} <= set(seen)
    wanted[1].setFocus(Qt.FocusReason.TabFocusReason)
    bench.asked.clear()
    bench.key(Qt.Key.Key_Return)
    assert bench.last() == events.ScrewTurned(NOW, Screw.AZIMUTH, 0.25)
    bench.asked.clear()
    bench.key(Qt.Key.Key_Space)
    assert bench.last() == events.ScrewTurned(NOW, Screw.AZIMUTH, 0.25)


def test_window_keys(bench: Bench) -> None:
    bench.show("rough")
    window = bench.window
    bench.key(Qt.Key.Key_F9)
    assert window.settings.light is Light.RED and window.isFullScreen()
    before = window.settings.brightness
    bench.key(Qt.Key.Key_Minus)
    assert window.settings.brightness < before
    bench.key(Qt.Key.Key_Plus)
    assert window.settings.brightness == before
    bench.key(Qt.Key.Key_F9)
    assert window.settings.light is Light.DAY and not window.isFullScreen()
    bench.key(Qt.Key.Key_R)
    assert window.reading and window.night.well.isVisible() and not window.night.rail.isVisible()
    bench.key(Qt.Key.Key_Escape)
    assert not window.reading and window.night.rail.isVisible()
    bench.key(Qt.Key.Key_F11)
    assert window.isFullScreen()
    bench.key(Qt.Key.Key_F11)
    assert not window.isFullScreen()
    bench.key(Qt.Key.Key_K)
    assert window.keys_page.isVisible() and ("C", "licences and credits, from this page") in window.keys_page.pairs
    bench.key(Qt.Key.Key_C)
    assert window.keys_page.credits.isVisible()
    bench.key(Qt.Key.Key_C)
    assert window.keys_page.isVisible() and not window.keys_page.credits.isVisible()
    bench.key(Qt.Key.Key_X)
    assert not window.keys_page.isVisible() and window.night.isVisible()
    assert bench.asked == [], "all of this is the window's own business"
    assert bench.settings[-1] == window.settings


def test_trouble_is_dismissed_before_reading_is_left(bench: Bench) -> None:
    bench.show("fine-stale")
    bench.window.set_reading(True)
    bench.key(Qt.Key.Key_Escape)
    assert bench.last() == want.DismissTrouble()
    assert bench.window.reading


def test_trouble_shows_cause_and_cure(bench: Bench) -> None:
    bench.show("fine-stale")
    panel = bench.window.night.trouble
    assert panel.isVisible()
    assert "cannot be reached" in panel.accessibleName() and "Check the network" in panel.accessibleName()


def test_rehearsal_screws_by_key_wheel_and_mouse(bench: Bench) -> None:
    bench.show("rehearsal")
    bench.key(Qt.Key.Key_Right)
    assert bench.last() == want.TurnRehearsalScrew(Screw.AZIMUTH, 0.125)
    bench.key(Qt.Key.Key_Down, SHIFT)
    assert bench.last() == want.TurnRehearsalScrew(Screw.ALTITUDE, -0.03125)
    bench.key(Qt.Key.Key_PageUp)
    assert bench.last() == want.RotateRehearsalAxis(-5.0), "up is east"
    knob = bench.window.night.knobs.azimuth
    centre, radius = knob._head()
    top = (centre + type(centre)(0.0, -0.8 * radius)).toPoint()
    right = (centre + type(centre)(0.8 * radius, 0.0)).toPoint()
    QTest.mousePress(knob, Qt.MouseButton.LeftButton, pos=top)
    QTest.mouseMove(knob, right)
    QTest.mouseRelease(knob, Qt.MouseButton.LeftButton, pos=right)
    turned = bench.last()
    assert isinstance(turned, want.TurnRehearsalScrew) and turned.screw is Screw.AZIMUTH
    assert turned.turns == pytest.approx(0.25, abs=0.02)


def test_replay_by_key_and_mouse(bench: Bench) -> None:
    bench.show("replay")
    bench.key(Qt.Key.Key_Space)
    assert bench.last() == want.PlayPause()
    bench.key(Qt.Key.Key_Right)
    assert bench.last() == want.Scrub(570.0)
    bench.key(Qt.Key.Key_Up)
    assert bench.last() == want.SetSpeed(20.0)
    bench.key(Qt.Key.Key_Period)
    assert bench.last() == want.StepEvent(1)
    bench.key(Qt.Key.Key_T)
    assert bench.last() == want.TakeOver()
    line = bench.window.night.transport.line
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=line.rect().center())
    assert isinstance(bench.last(), want.Scrub)
    assert bench.last().position_s == pytest.approx(450.0, abs=2.0)
    plot = bench.window.night.timeline
    plot.grab()
    bench.asked.clear()
    QTest.mouseClick(plot, Qt.MouseButton.LeftButton, pos=plot.rect().center())
    assert isinstance(bench.last(), want.Scrub) and 200.0 < bench.last().position_s < 700.0


def test_folder_is_chosen_by_keyboard(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "tonight").mkdir()
    (tmp_path / "tonight" / "a.fits").write_bytes(b"")
    bench.show("first-run")
    bench.window.first.folder.edit.setText(str(tmp_path))
    bench.key(Qt.Key.Key_O, CTRL)
    page = bench.window.folders
    assert page.isVisible() and page.folder == tmp_path
    assert page.note == f"no frames in {tmp_path.name} yet"
    bench.key(Qt.Key.Key_Down)
    assert page.note == "1 frame in tonight" and page.take.text() == "Use tonight"
    bench.key(Qt.Key.Key_Return)
    assert page.folder == tmp_path / "tonight"
    assert page.note == "1 frame in tonight"
    bench.key(Qt.Key.Key_Return, CTRL)
    assert bench.window.first.folder.edit.text() == str(tmp_path / "tonight")
    assert isinstance(bench.last(), want.FillForm)


@pytest.mark.parametrize("enter_first", [False, True])
def test_what_is_highlighted_is_taken_not_its_parent(bench: Bench, tmp_path: Path, enter_first: bool) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "flats").mkdir()
    bench.show("first-run")
    bench.window.first.folder.edit.setText(str(tmp_path))
    bench.key(Qt.Key.Key_O, CTRL)
    bench.key(Qt.Key.Key_Down)
    if enter_first:
        bench.key(Qt.Key.Key_Return)
        assert bench.window.folders.take.text() == "Use run"
        bench.key(Qt.Key.Key_Return)  # on the first row, the folder itself
    else:
        bench.key(Qt.Key.Key_Return, CTRL)
    assert bench.window.first.folder.edit.text() == str(tmp_path / "run")


def typed_folder(bench: Bench, before: Path, typed: Path) -> FolderPage:
    """The folder page, asked for where `before` is chosen, with another path typed into it."""
    bench.show("first-run")
    bench.window.first.folder.edit.setText(str(before))
    bench.key(Qt.Key.Key_O, CTRL)
    page = bench.window.folders
    page.path.setFocus()
    page.path.selectAll()
    QTest.keyClicks(page.path, str(typed))
    return page


def test_a_typed_folder_is_taken_not_what_is_highlighted(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "deep" / "tonight").mkdir(parents=True)
    (tmp_path / "deep" / "tonight" / "a.fits").write_bytes(b"")
    page = typed_folder(bench, tmp_path, tmp_path / "deep" / "tonight")
    assert (page.take.text(), page.note) == ("Use tonight", "1 frame in tonight")
    bench.key(Qt.Key.Key_Return, CTRL)
    assert bench.window.first.folder.edit.text() == str(tmp_path / "deep" / "tonight")


def test_a_typed_folder_that_does_not_exist_is_said_and_not_taken(bench: Bench, tmp_path: Path) -> None:
    page = typed_folder(bench, tmp_path, tmp_path / "nowhere")
    bench.key(Qt.Key.Key_Return, CTRL)
    assert page.isVisible() and "nowhere cannot be opened" in page.note
    bench.key(Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier)
    assert page.folder == tmp_path.parent and page.take.text() == f"Use {tmp_path.parent.name}"


def test_a_grey_begin_says_why_and_leads_there(bench: Bench) -> None:
    bench.show("first-run")
    view = PAGES["first-run"]()
    lacking = "The longitude is missing."
    bench.window.show_view(replace(view, form=replace(view.form, longitude="", lacking=lacking)))
    first = bench.window.first
    first.longitude.edit.setText("")
    assert not first.begin.isEnabled() and first.lacking.text == lacking and first.lacking.isVisible()
    bench.key(Qt.Key.Key_Return, CTRL)
    assert want.StartNight() not in bench.asked and QApplication.focusWidget() is first.longitude.edit


def test_one_key_is_red_light_on_every_page(bench: Bench) -> None:
    for page in ("first-run", "rough", "fine"):
        bench.show(page)
        if page == "first-run":
            bench.window.first.folder.edit.setFocus()
        before = bench.window.settings.light
        bench.key(Qt.Key.Key_F9)
        assert bench.window.settings.light is not before, page
        keys = bench.window.first.keys if page == "first-run" else bench.window.night.keys
        told = [key for key, meaning in keys.pairs if meaning in ("red light", "daylight")]
        assert told == ["F9"], page
    bench.window.act(want.ChooseFolder())
    before = bench.window.settings.light
    bench.key(Qt.Key.Key_F9)
    assert bench.window.settings.light is not before and bench.window.folders.isVisible()
    if bench.window.settings.light is Light.RED:
        bench.key(Qt.Key.Key_F9)


def mending(view: View) -> View:
    """The form as it lies over a running night."""
    return replace(view, form=replace(view.form, mending=True))


def test_work_is_told_at_the_edge_and_never_over_the_instruction(bench: Bench) -> None:
    work = Work("Learning the star patterns", 0.4, can_cancel=False)
    for view, page in (
        (PAGES["first-run"](), bench.window.first),
        (PAGES["rough"](), bench.window.night),
        (mending(PAGES["first-run"]()), bench.window.first),
        (nights_view((), 0, False, None, None, None), bench.window.nights),
    ):
        bench.window.show_view(view)
        parts = [part for part in page.children() if isinstance(part, QWidget) and part.isVisible()]
        bench.window.show_view(replace(view, work=work))
        assert page.keys.work == work
        assert [part for part in page.children() if isinstance(part, QWidget) and part.isVisible()] == parts
        assert ("Escape", "stop this work") not in page.keys.pairs
        bench.window.show_view(replace(view, work=replace(work, fraction=None, can_cancel=True)))
        page.keys.grab()
        assert page.keys.pairs[0] == ("Escape", "stop this work")
        assert [key for key, _ in page.keys.pairs].count("Escape") == 1
        bench.window.show_view(view)
        assert page.keys.work is None


def test_a_folder_that_cannot_be_opened_says_so(bench: Bench, tmp_path: Path) -> None:
    bench.show("rough")
    bench.window.act(want.ChooseFolder())
    page = bench.window.folders
    page.go(tmp_path)
    page.go(tmp_path / "gone")
    assert page.folder == tmp_path
    assert "gone cannot be opened" in page.note
    bench.key(Qt.Key.Key_Escape)
    assert bench.window.night.isVisible()


def test_an_empty_list_of_nights_says_where_they_lie(bench: Bench, tmp_path: Path) -> None:
    bench.show("first-run")
    bench.key(Qt.Key.Key_L, CTRL)
    assert bench.last() == want.OpenNights()
    bench.window.act(want.OpenReplay())
    page = bench.window.folders
    page.go(tmp_path)
    assert page.note.startswith("No recorded night here.") and str(data_folder() / "nights") in page.note
    (tmp_path / "2026-03-01").mkdir()
    page.go(tmp_path)
    assert page.note == ""


def test_menu_offers_everything_with_its_key(bench: Bench) -> None:
    bench.show("rough")
    bench.window.build_menu()
    lines = [a.text() for a in bench.window.menu.actions() if not a.isSeparator()]
    assert "I bumped it\tB" in lines and "Red light\tF9" in lines
    bumped = next(a for a in bench.window.menu.actions() if a.text() == "I bumped it\tB")
    bumped.trigger()
    assert bench.asked == [events.TripodBumped(NOW)]
    bench.window.build_menu()
    bench.asked.clear()
    next(a for a in bench.window.menu.actions() if a.text() == "I bumped it\tB").trigger()
    assert bench.asked == [events.TripodBumped(NOW)], "opening the menu twice does not do things twice"


def test_sound_is_off_until_asked_for(bench: Bench) -> None:
    bench.show("fine")
    assert bench.ears.played == []
    bench.key(Qt.Key.Key_S)
    bench.window.show_view(PAGES["fine"]())
    assert bench.ears.played
    bench.key(Qt.Key.Key_S)
    assert bench.ears.hushed


def test_speech_says_each_sentence_once(bench: Bench) -> None:
    bench.show("rough")
    bench.key(Qt.Key.Key_V)
    bench.window.show_view(PAGES["fine"]())
    bench.window.show_view(PAGES["fine"]())
    assert bench.ears.said == ["Turn altitude 1/8 turn anticlockwise."]


def test_closing_announces_itself(bench: Bench) -> None:
    bench.show("fine")
    heard: list[bool] = []
    bench.window.closing.connect(lambda: heard.append(True))
    bench.key(Qt.Key.Key_Q, CTRL)
    assert heard == [True]


def test_nothing_keeps_ticking_when_nothing_moves(bench: Bench) -> None:
    """After a motion has ended no timer of the window is active and its animation rests."""
    window = bench.window
    window.night.well.animated = True
    for page in ("rough", "fine", "fine-close"):
        window.show_view(PAGES[page]())
    window.night.well.settle()
    active = [t for t in window.findChildren(QTimer) if t.isActive() and owned(t, window)]
    assert active == []
    assert window.night.well._driver._animation.state().value == 0


def owned(timer: QTimer, window: MainWindow) -> bool:
    """Timers of Qt's own item views (delayed layout) are not ours."""
    parent: QObject | None = timer.parent()
    return parent is not None and parent.metaObject().className() in {type(p).__name__ for p in window.night.parts}


def test_views_come_and_go_without_leaving_widgets_behind(bench: Bench) -> None:
    """Views come and go; the number of widgets does not grow."""
    for page in PAGES:
        bench.show(page)
    before = len(bench.window.findChildren(QWidget))
    for _ in range(3):
        for page in PAGES:
            bench.show(page)
    assert len(bench.window.findChildren(QWidget)) == before


def test_tone_is_told_by_word_as_well(bench: Bench) -> None:
    from polewright.ui.words import MOOD_WORDS

    assert set(MOOD_WORDS) == set(Mood) and len(set(MOOD_WORDS.values())) == len(Mood)


def test_known_sites_and_rigs_fill_the_form(bench: Bench) -> None:
    bench.show("first-run")
    first = bench.window.first
    assert first.known_sites.isVisible() and first.known_rigs.isVisible()
    first.fill_menu(first.form.sites, want.UseSite)
    first.menu.actions()[1].trigger()
    assert bench.last() == want.UseSite("Salt pan")
    bench.window.show_view(replace(PAGES["first-run"](), form=replace(first.form, sites=(), rigs=())))
    assert not first.known_sites.isVisible() and not first.known_rigs.isVisible()


def test_trouble_and_work_are_shown_on_the_first_page_too(bench: Bench) -> None:
    bench.show("first-trouble")
    assert bench.window.first.trouble.isVisible() and not bench.window.first.begin.isEnabled()
    bench.key(Qt.Key.Key_Escape)
    assert bench.last() == want.DismissTrouble()
    bench.show("first-working")
    assert bench.window.first.keys.work is not None
    bench.key(Qt.Key.Key_Escape)
    assert bench.last() == want.CancelWork()


def test_return_answers_the_instruction_although_the_menu_had_the_keyboard(bench: Bench) -> None:
    bench.show("rehearsal")
    bench.window.night.menu_button.setFocus()
    bench.show("first-run")
    bench.key(Qt.Key.Key_P, CTRL)
    bench.key(Qt.Key.Key_Return)
    assert isinstance(bench.last(), want.StartRehearsal)
    assert QApplication.focusWidget() is bench.window, "Enter does what is asked, it opens no menu"
