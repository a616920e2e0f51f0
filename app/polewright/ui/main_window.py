"""The window: shows one `View`, sends out intents, and settles by itself what concerns only how it looks.

Decided 2026-11-25. The window is a function of one frozen View; it sends back the night's own events, and intents
for what is none. Only light, brightness, reading mode, full screen, sound and the pages on top are its own. Red
light fills the screen: a window's frame belongs to the desktop and may be white.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import assert_never

from PySide6.QtCore import QKeyCombination, QSize, Qt, Signal
from PySide6.QtGui import QCloseEvent, QKeyEvent, QKeySequence, QResizeEvent, QScreen
from PySide6.QtWidgets import QApplication, QMenu, QStackedLayout, QToolTip, QWidget

from polewright.runtime.jobs import Asks, InlineWorker
from polewright.services.guide import INDEX, MESSAGES, Place, place_of
from polewright.ui import intents as want
from polewright.ui.arrange import SMALLEST, unit_for
from polewright.ui.cursor import set_pointer
from polewright.ui.first_page import FirstPage
from polewright.ui.folder_dialog import FolderPage
from polewright.ui.help_page import HelpPage
from polewright.ui.intents import OfTheWindow
from polewright.ui.keys import (
    BRIGHTNESS,
    FULL_SCREEN,
    HELP,
    KNOWN_RIGS,
    KNOWN_SITES,
    QUIT,
    RED_LIGHT,
    WINDOW_ACTIONS,
    WITHOUT_AN_ACTION,
    action_for_key,
    all_keys,
    bar_keys,
    escape_once,
    plan_keys,
)
from polewright.ui.keys_page import KeysPage
from polewright.ui.listening import Listening
from polewright.ui.look import SMALLEST_PX, Look, plain_font, qt_palette, style_sheet
from polewright.ui.night_page import NightPage
from polewright.ui.nights_page import NightsPage
from polewright.ui.panel import Panel
from polewright.ui.plan_page import PlanPage
from polewright.ui.rehearsals_page import RehearsalsPage
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light, make_theme, next_brightness
from polewright.ui.view_model import Page, View, Weight
from polewright.words.numbers import capital
from polewright.words.window import WHICH_FOLDER, WHICH_NIGHT

USUAL_SIZE = QSize(1280, 800)
FRAME_PX, TITLE_PX = 4, 36  # of a window's frame, of its title and lower edge: about what desktops draw (chosen)
RECORDING_ENDINGS = (".jsonl",)
FORM_WINDOW_INTENTS: dict[str, want.Intent] = {  # where letters go into fields
    RED_LIGHT: OfTheWindow.RED_LIGHT,
    "Ctrl++": OfTheWindow.BRIGHTER,
    "Ctrl+-": OfTheWindow.DIMMER,
    FULL_SCREEN: OfTheWindow.FULL_SCREEN,
    QUIT: OfTheWindow.QUIT,
}


class MainWindow(QWidget):
    """Signals: `wanted` carries an intent; `settings_changed` the window's own settings; `closing` before it goes."""

    wanted = Signal(object)
    settings_changed = Signal(object)
    closing = Signal()

    def __init__(
        self,
        settings: WindowSettings | None = None,
        listening: Listening | None = None,
        worker: Asks | None = None,
    ) -> None:
        super().__init__(None)
        self.may_close: Callable[[], bool] = lambda: True  # asked before it closes
        self.setObjectName("window")
        self.setWindowTitle("Polewright")
        self.setMinimumSize(*SMALLEST)
        self.settings = settings or WindowSettings()
        self.view: View | None = None
        self.reading = False
        self._sheet = ""
        self._before_red: Qt.WindowState | None = None
        self._behind_keys = False
        self._listening = listening or Listening()
        self._worker = worker or InlineWorker()
        self.night = NightPage()
        self.first = FirstPage()
        self.folders = FolderPage(self._worker)
        self.keys_page = KeysPage()
        self.plan_page = PlanPage()
        self.nights = NightsPage()
        self.rehearsals = RehearsalsPage()
        self.guide = HelpPage()
        self.on_top: tuple[QWidget, ...] = (
            self.folders, self.keys_page, self.plan_page, self.rehearsals, self.guide,
        )  # fmt: skip
        self.pages: tuple[QWidget, ...] = (self.first, self.night, self.nights, *self.on_top)
        self._stack = QStackedLayout(self)
        self._stack.setContentsMargins(0, 0, 0, 0)
        for page in self.pages:
            self._stack.addWidget(page)
        self.menu = QMenu(self)
        self._connect()
        self.resize(opening_size(self.screen()))
        self._wear()

    def _connect(self) -> None:
        self.night.pressed.connect(self.act)
        self.first.pressed.connect(self.act)
        self.night.menu_button.clicked.connect(self.open_menu)
        self.keys_page.left.connect(self._on_keys_left)
        self.plan_page.pressed.connect(self.act)
        self.plan_page.left.connect(self._on_page_left)
        self.folders.left.connect(self._on_page_left)
        self.folders.chosen.connect(self._on_chosen)
        self.nights.pressed.connect(self.act)
        self.rehearsals.chosen.connect(self._on_rehearsal)
        self.rehearsals.left.connect(self._on_page_left)
        self.guide.left.connect(self._on_page_left)
        self.keys_page.guide_wanted.connect(self._on_guide_wanted)

    def sizeHint(self) -> QSize:
        return QSize(1280, 800)

    # what is shown

    def show_view(self, view: View) -> None:
        """Show another view. Cheap when little changed; never waits for anything."""
        view = escape_once(view)
        before, self.view = self.view, view
        if view.page is Page.FIRST_RUN:
            self.first.show_view(view)
        elif view.page is Page.NIGHTS:
            self.nights.show_view(view)
        else:
            self.night.show_view(view, self.reading)
        self._show_bar(view)
        if view.plan is not None:
            self.plan_page.show_plan(view.plan)
        left_over = view.plan is None and self._on_plan
        if left_over or self._stack.currentWidget() not in self.on_top:
            self._show_own_page()
        if self.settings.sound or self.settings.speech:
            self._listening.hear(before, view, self.settings.sound, self.settings.speech)

    def _show_bar(self, view: View) -> None:
        """The keys at the lower edge, each with what it would do now."""
        pages = {Page.FIRST_RUN: self.first.keys, Page.NIGHTS: self.nights.keys}
        pages.get(view.page, self.night.keys).show_keys(bar_keys(view, self.settings))

    def _show_own_page(self) -> None:
        page = self._own_page()
        if self._stack.currentWidget() is page:
            return
        self._bring(page)
        if page is self.nights:
            self.nights.take_focus()

    def _own_page(self) -> QWidget:
        """The page that the view itself fills."""
        shown = Page.FIRST_RUN if self.view is None else self.view.page
        return {Page.FIRST_RUN: self.first, Page.NIGHTS: self.nights}.get(shown, self.night)

    @property
    def _on_plan(self) -> bool:
        return self._stack.currentWidget() is self.plan_page

    @property
    def _red(self) -> bool:
        return self.settings.light is Light.RED

    # what is wanted

    def act(self, intent: want.Intent) -> None:
        """Do what concerns the window, pass on the rest."""
        if isinstance(intent, OfTheWindow):
            self._settle(intent)
        elif isinstance(intent, want.ShowPlan):
            self._show_plan()
        elif isinstance(intent, want.ChooseFolder) and intent.folder is None:
            self._ask_folder()
        elif isinstance(intent, want.OpenReplay) and intent.recording is None:
            self.folders.ask(WHICH_NIGHT, Path.home(), RECORDING_ENDINGS)
            self._bring(self.folders)
        else:
            self.wanted.emit(intent)

    def _settle(self, intent: OfTheWindow) -> None:
        match intent:
            case OfTheWindow.RED_LIGHT:
                self._toggle_red()
            case OfTheWindow.BRIGHTER | OfTheWindow.DIMMER:
                if not self._red:
                    return  # daylight has one brightness: the keys are not shown
                steps = 1 if intent is OfTheWindow.BRIGHTER else -1
                self._set(replace(self.settings, brightness=next_brightness(self.settings.brightness, steps)))
            case OfTheWindow.READING:
                self.set_reading(not self.reading)
            case OfTheWindow.FULL_SCREEN:
                self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)
            case OfTheWindow.SOUND:
                self._set(replace(self.settings, sound=not self.settings.sound))
            case OfTheWindow.SPEECH:
                self._set(replace(self.settings, speech=not self.settings.speech))
            case OfTheWindow.KEYS:
                self._show_keys()
            case OfTheWindow.REHEARSALS:
                self._show_rehearsals()
            case OfTheWindow.WHY:
                self.open_guide()
            case OfTheWindow.QUIT:
                self.close()
            case _:
                assert_never(intent)

    def set_reading(self, reading: bool) -> None:
        """Only the well and the sentence, or everything."""
        self.reading = reading
        if self.view is not None and self.view.page is not Page.FIRST_RUN:
            self.night.show_view(self.view, reading)

    def _toggle_red(self) -> None:
        """Red light fills the screen, since a window's frame is the desktop's and may be white."""
        if self._red:
            self._set(replace(self.settings, light=Light.DAY))
            if self._before_red is not None:
                self.setWindowState(self._before_red)
            self._before_red = None
        else:
            self._before_red = self.windowState()
            self._set(replace(self.settings, light=Light.RED))
            self.setWindowState(self.windowState() | Qt.WindowState.WindowFullScreen)

    def keep_lead(self, told: bool) -> None:
        """The person prefers turns told in numbers, or to be led by the marker: for later nights too."""
        self._set(replace(self.settings, told=told))

    def _set(self, settings: WindowSettings) -> None:
        changed_look = (settings.light, settings.brightness) != (self.settings.light, self.settings.brightness)
        self.settings = settings
        if changed_look:
            self._wear()
            if self.view is not None:
                self.show_view(self.view)
        if not settings.sound:
            self._listening.hush()
        if not changed_look and self.view is not None:
            self._show_bar(self.view)
        self.settings_changed.emit(settings)

    def _wear(self) -> None:
        """Put the theme on everything at once, before anything is painted again."""
        theme = make_theme(self.settings.light, self.settings.brightness)
        look = Look(theme, unit_for(self.width(), self.height()))
        app = QApplication.instance()
        assert isinstance(app, QApplication)
        palette = qt_palette(theme)
        app.setPalette(palette)
        app.setFont(plain_font(round(17 * look.unit)))
        QToolTip.setPalette(palette)
        QToolTip.setFont(look.font(15))
        self._sheet = style_sheet(look)
        self._dress(self._stack.currentWidget())
        self.setPalette(palette)
        for page in self.pages:
            if isinstance(page, Panel):
                page.set_look(look)
        self.menu.setFont(look.font(17))
        set_pointer(theme)

    def _dress(self, part: QWidget | None) -> None:
        """Only pages with stock controls need the style sheet, and only when they are about to be seen."""
        plain = (self.night, self.keys_page)
        if part is not None and part not in plain and part.styleSheet() != self._sheet:
            part.setStyleSheet(self._sheet)

    def _bring(self, page: QWidget) -> None:
        self._dress(page)
        self._stack.setCurrentWidget(page)
        if page is self.night:  # a button that had the keyboard would take Enter for itself
            self.setFocus(Qt.FocusReason.OtherFocusReason)

    # pages that lie on top

    def _show_rehearsals(self) -> None:
        """The next night after the one that was rehearsed last."""
        last = self.view.rehearsed if self.view is not None else ""
        self._bring(self.rehearsals)
        self.rehearsals.ask(last)

    def _on_rehearsal(self, intent: want.StartRehearsal) -> None:
        self._bring(self.night)
        self.wanted.emit(intent)

    def open_guide(self) -> None:
        """Where it tells of the trouble on show, or of the instruction."""
        view = self.view
        if view is None:
            self._bring_guide(Place(INDEX))
        elif view.trouble is not None:
            self._bring_guide(place_of((view.trouble.cause, view.trouble.cure), MESSAGES))
        else:
            self._bring_guide(place_of((view.instruction.sentence, view.instruction.reason)))

    def _on_guide_wanted(self) -> None:
        self._bring_guide(Place(INDEX))

    def _bring_guide(self, place: Place) -> None:
        self._bring(self.guide)
        self.guide.open(place)

    def _show_keys(self) -> None:
        if self.view is not None:
            self.keys_page.show_keys(plan_keys() if self._on_plan else all_keys(self.view, self._red))
        self._behind_keys = self._on_plan
        self._bring(self.keys_page)
        self.keys_page.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_keys_left(self) -> None:
        """Back to where the keys were asked for."""
        if self._behind_keys:
            self._show_plan()
        else:
            self._show_own_page()

    def _show_plan(self) -> None:
        """The page of tonight's plan; whoever runs the night fills it."""
        self.wanted.emit(want.ShowPlan())
        self.show_plan_page()

    def show_plan_page(self) -> None:
        """Bring it to the front, when there is one."""
        if self.view is not None and self.view.plan is not None:
            self._bring(self.plan_page)
            self.plan_page.begin()

    def _ask_folder(self) -> None:
        first = self.view is None or self.view.page is Page.FIRST_RUN
        typed = self.first.folder.edit.text().strip() if first or self.view is None else self.view.form.folder
        self.folders.ask(WHICH_FOLDER, Path(typed).expanduser() if typed else Path.home())
        self._bring(self.folders)

    def _on_page_left(self) -> None:
        self._show_own_page()

    def _on_chosen(self, place: Path) -> None:
        self._show_own_page()
        if self.folders.endings:
            self.wanted.emit(want.OpenReplay(place))
        elif self.view is None or self.view.page is Page.FIRST_RUN:
            self.first.set_folder(place)
        else:
            self.wanted.emit(want.ChooseFolder(place))

    def open_menu(self) -> None:
        """Everything that can be done here, with its key."""
        self.build_menu()
        self._fit_menu(self.screen().availableSize().height())
        corner = self.night.menu_button.mapToGlobal(self.night.menu_button.rect().bottomRight())
        size = self.menu.sizeHint()
        corner.setX(corner.x() - size.width())
        self.menu.popup(corner)

    def _fit_menu(self, room_px: int) -> None:
        """Lower lines where all of them would not fit the screen."""
        lines = len(self.menu.actions())
        row = max(SMALLEST_PX + 4, min(round(38 * self.night.look.unit), (room_px - 60) // max(1, lines)))
        self.menu.setStyleSheet(f"{self._sheet} QMenu::item {{ min-height: {row}px; }}")

    def build_menu(self) -> None:
        """Fill the menu anew: the page's actions first, then the window's own."""
        self._dress(self.menu)
        self.menu.clear()
        actions = self.view.actions if self.view is not None else ()
        for group in ([a for a in actions if a.weight is Weight.MENU], list(WINDOW_ACTIONS)):
            for action in group:
                if not action.enabled or (action.intent in BRIGHTNESS and not self._red):
                    continue  # what cannot be done now is not offered
                entry = self.menu.addAction(f"{capital(action.label)}\t{action.key}")
                entry.setData(action.intent)
            self.menu.addSeparator()
        self.menu.triggered.connect(self._on_menu, Qt.ConnectionType.UniqueConnection)

    def _on_menu(self, entry: object) -> None:
        self.act(entry.data())  # type: ignore[attr-defined]

    # keys

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if self._stack.currentWidget() is self.keys_page:
            return
        if self._stack.currentWidget() in (self.folders, self.rehearsals, self.guide):
            self._own_key(FORM_WINDOW_INTENTS.get(key_name(event)))
            return
        intent = self._intent_for(event)
        if event.isAutoRepeat() and intent in (want.LeaveNight(), OfTheWindow.QUIT):
            return  # a key held down is no answer to a question
        if intent is not None:
            event.accept()
            self.act(intent)
        else:
            super().keyPressEvent(event)

    def _own_key(self, intent: want.Intent | None) -> None:
        if intent is not None:
            self.act(intent)

    def _intent_for(self, event: QKeyEvent) -> want.Intent | None:
        key = event.key()
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        view = self.view
        if self._on_plan:
            name = key_name(event)
            return self.plan_page.intent_for_key(name) or FORM_WINDOW_INTENTS.get(name)
        if view is None or view.page is Page.FIRST_RUN:
            return self._form_intent(event)
        if key == Qt.Key.Key_Escape:
            return self._escape(view)
        if key == Qt.Key.Key_M:
            self.open_menu()
            return None
        if view.rehearsal is not None:
            turned = self.night.knobs.intent_for_key(key, shift)
            if turned is not None:
                return turned
        if view.replay is not None:
            played = self.night.transport.intent_for_key(key)
            if played is not None:
                return played
        action = action_for_key(view.actions, key_name(event))
        if action is None:
            at_the_mount = view.replay is None and view.nights is None
            why_not = WITHOUT_AN_ACTION.get(key_name(event)) if at_the_mount else None
            return None if why_not is None else want.SayWhyNot(why_not)
        return action.intent if action.enabled else want.SayWhyNot(action.why_not)

    def _escape(self, view: View) -> want.Intent | None:
        if view.trouble is not None:
            return want.DismissTrouble()
        if self.reading and self._own_page() is self.night:  # the line that names the work is not shown there
            return OfTheWindow.READING
        if view.work is not None and view.work.can_cancel:
            return want.CancelWork()
        action = action_for_key(view.actions, "Escape")
        return action.intent if action is not None else None

    def _form_intent(self, event: QKeyEvent) -> want.Intent | None:
        """On the first page letters belong to the fields: the window listens to Ctrl and function keys only."""
        name = key_name(event)
        if name in (KNOWN_SITES, KNOWN_RIGS):
            (self.first.open_sites if name == KNOWN_SITES else self.first.open_rigs)()
        if name == "Ctrl+Return":
            (self.first.begin.click if self.first.begin.isEnabled() else self.first.go_to_what_is_lacking)()
        if name == "Escape" and self.view is not None:
            return self._escape(self.view)
        elsewhere: dict[str, want.Intent] = {"Ctrl+P": OfTheWindow.REHEARSALS, "Ctrl+L": want.OpenNights()}
        keys: dict[str, want.Intent] = {
            **({} if self.first.form.mending else elsewhere),
            "Ctrl+O": want.ChooseFolder(),
            HELP: OfTheWindow.KEYS,
            **FORM_WINDOW_INTENTS,
        }
        return keys.get(name)

    # Qt

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The parts follow their page; the style sheet follows once in a while, in steps of an eighth."""
        before = unit_for(*event.oldSize().toTuple()) if event.oldSize().isValid() else 0.0
        if abs(unit_for(self.width(), self.height()) - before) > 0.01:
            self._wear()

    def closeEvent(self, event: QCloseEvent) -> None:
        if not self.may_close():
            event.ignore()
            return
        self._listening.hush()
        self.night.well.settle()
        self.closing.emit()
        if self._red:
            set_pointer(make_theme(Light.DAY))
        super().closeEvent(event)


def opening_size(screen: QScreen | None) -> QSize:
    """1280 x 800, or what the screen offers beside a task bar, less a frame around the window."""
    if screen is None:
        return USUAL_SIZE
    offered = screen.availableSize() - QSize(2 * FRAME_PX, TITLE_PX)
    return USUAL_SIZE.boundedTo(offered).expandedTo(QSize(*SMALLEST))


def key_name(event: QKeyEvent) -> str:
    """A key as the actions write it: "Return", "Ctrl+Z", "1", "+"."""
    key = event.key()
    if key == Qt.Key.Key_Enter:
        key = Qt.Key.Key_Return
    if key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
        key = Qt.Key.Key_Plus
    held = event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)
    name = QKeySequence(QKeyCombination(held, Qt.Key(key))).toString(QKeySequence.SequenceFormat.PortableText)
    return name.replace("Del", "Delete") if name.endswith("Del") else name.replace("Esc", "Escape")
