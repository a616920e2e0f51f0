"""The first page: where you are, what you look through, where the frames land; or rehearse at once."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QMenu, QVBoxLayout, QWidget

from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT_TOP, WRAP
from polewright.ui.intents import (
    ChooseFolder,
    FillForm,
    LeaveForm,
    OfTheWindow,
    OpenNights,
    StartNight,
    UseRig,
    UseSite,
)
from polewright.ui.keys import KNOWN_RIGS, KNOWN_SITES
from polewright.ui.keys_bar import KeysBar
from polewright.ui.line_field import LineField
from polewright.ui.look import SMALL, VALUE, Look
from polewright.ui.notices import TroublePanel
from polewright.ui.panel import Caption, FullPanel
from polewright.ui.reticle import ReticleWidget
from polewright.ui.view_model import KnownName, Reticle, SiteForm, View
from polewright.words.window import PURPOSE

TWELFTHS = 12  # columns of the form: rows of three fields and of four
BOTTOM = Qt.AlignmentFlag.AlignBottom
ROOMY_PX = 800  # from this height on (in units of the look) there is room to say what the program is for
PICTURE = Reticle(tolerance_arcmin=2.0, tolerance_text="")  # empty: nothing is measured yet


class Field(QWidget):
    """A labelled line to type in, with a quiet line beneath for where the value comes from or what is wrong."""

    def __init__(self, label: str, unit: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.label = QLabel(f"{label}, {unit}" if unit else label, self)
        self.edit = LineField(self)
        self.label.setBuddy(self.edit)
        self.edit.setAccessibleName(self.label.text())
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setVerticalSpacing(2)
        grid.addWidget(self.label, 0, 0)
        grid.addWidget(self.edit, 1, 0)

    def set_look(self, look: Look) -> None:
        """Wear another theme or size."""
        self.label.setFont(look.font(SMALL))
        self.edit.set_look(look)


class FirstPage(FullPanel):
    """The form on the right, the well as a picture on the left. Emits `pressed` with intents."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.form = SiteForm()
        self.well = ReticleWidget(self)
        self.well.animated = False
        self.well.show_reticle(PICTURE)
        self.keys = KeysBar(self)
        self.latitude = Field("Latitude", "° north", self)
        self.longitude = Field("Longitude", "° east", self)
        self.elevation = Field("Height", "m", self)
        self.site_name = Field("Name of the site", "", self)
        self.temperature = Field("Air (optional)", "°C", self)
        self.pressure = Field("Pressure here", "hPa", self)
        self.focal_length = Field("Focal length", "mm", self)
        self.pixel_size = Field("Pixel size", "µm", self)
        self.clock = Field("Clock ahead", "s", self)
        self.rig_name = Field("Name of the rig", "", self)
        self.folder = Field("Folder the camera writes to", "", self)
        self.named = {
            "latitude": self.latitude, "longitude": self.longitude, "elevation": self.elevation,
            "site_name": self.site_name, "temperature": self.temperature, "pressure": self.pressure,
            "focal_length": self.focal_length, "pixel_size": self.pixel_size, "clock": self.clock,
            "rig_name": self.rig_name, "folder": self.folder,
        }  # fmt: skip
        self.fields = tuple(self.named.values())
        self.known_sites = PlainButton("Known sites", KNOWN_SITES, parent=self)
        self.known_rigs = PlainButton("Known rigs", KNOWN_RIGS, parent=self)
        self.menu = QMenu(self)
        self.trouble = TroublePanel(self)
        self.trouble.pressed.connect(self.pressed)
        self.keys.pressed.connect(self.pressed)
        self.choose = PlainButton("Choose", "Ctrl+O", parent=self)
        self.begin = PlainButton("Begin the night", "Ctrl+Return", loud=True, parent=self)
        self.rehearse = PlainButton("Rehearse", "Ctrl+P", parent=self)
        self.replay = PlainButton("Earlier nights", "Ctrl+L", parent=self)
        self.back = PlainButton("Back to the mount", "Escape", parent=self)  # while the form lies over a night
        self.rehearse.large = self.replay.large = self.back.large = True
        self.title, self.said = Caption(54, "strong", bold=True), Caption(VALUE)
        self.title.show_text("Polewright")
        self.said.show_text(PURPOSE)
        self.lacking = Caption(SMALL, "ink", LEFT_TOP | WRAP)  # why the night cannot begin yet
        self.notes = tuple(Caption(SMALL, "faint", LEFT_TOP | WRAP) for _ in range(4))  # under each row of fields
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        """The well beside the form, the keys beneath both."""
        grid = self._grid = QGridLayout()
        for row, parts in (
            (0, (self.latitude, self.longitude, self.elevation)),
            (2, (self.site_name, self.temperature, self.pressure)),
            (4, (self.focal_length, self.pixel_size, self.clock, self.rig_name)),
        ):
            widths = (4, 4, 4) if len(parts) == 3 else (3, 3, 2, 4)  # a name needs more room than a number
            for part, wide, upto in zip(parts, widths, accumulate(widths), strict=True):
                grid.addWidget(part, row, upto - wide, 1, wide)
        grid.addWidget(self.notes[0], 1, 0, 1, TWELFTHS)
        for row, note, beside in ((3, self.notes[1], self.known_sites), (5, self.notes[2], self.known_rigs)):
            grid.addWidget(note, row, 0, 1, 8)
            grid.addWidget(beside, row, 8, 1, 4)
        grid.addWidget(self.folder, 6, 0, 1, 8)
        grid.addWidget(self.choose, 6, 8, 1, 4, BOTTOM)
        grid.addWidget(self.notes[3], 7, 0, 1, TWELFTHS)
        for twelfth in range(TWELFTHS):
            grid.setColumnStretch(twelfth, 1)
        for button in (self.known_sites, self.known_rigs):
            keep = button.sizePolicy()
            keep.setRetainSizeWhenHidden(True)
            button.setSizePolicy(keep)
        loud = QHBoxLayout()
        loud.addWidget(self.begin, 1)
        loud.addWidget(self.rehearse, 1)
        loud.addWidget(self.replay, 1)
        loud.addWidget(self.back, 1)
        column = self._column = QVBoxLayout()
        column.addWidget(self.title)
        column.addWidget(self.said)
        column.addLayout(grid)
        column.addStretch(1)
        column.addWidget(self.lacking)
        column.addLayout(loud)
        both = QHBoxLayout()
        left = self._left = QVBoxLayout()
        left.addWidget(self.well, 1)
        left.addWidget(self.trouble)
        both.addLayout(left, 46)
        both.addLayout(column, 54)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addLayout(both, 1)
        whole.addWidget(self.keys)

    def _connect(self) -> None:
        for field in self.fields:
            field.edit.editingFinished.connect(self._on_edited)
            field.edit.returnPressed.connect(self._on_return)
        self.known_sites.clicked.connect(self.open_sites)
        self.known_rigs.clicked.connect(self.open_rigs)
        self.menu.triggered.connect(self._on_picked)
        self.choose.clicked.connect(self._on_choose)
        self.begin.clicked.connect(self._on_begin)
        self.rehearse.clicked.connect(self._on_rehearse)
        self.replay.clicked.connect(self._on_replay)
        self.back.clicked.connect(self._on_back)

    def show_view(self, view: View) -> None:
        """Show what is known; what the person is typing stays."""
        self.form = view.form
        for name, field in self.named.items():
            value = getattr(view.form, name)
            typing = field.edit.hasFocus() and (field.edit.isModified() or bool(field.edit.text()))
            if not typing and field.edit.text() != value:
                field.edit.setText(value)
                field.edit.setCursorPosition(0)  # a long name is read from its beginning
        self.begin.allow(view.form.lacking)
        self.begin.setText("Go on with these" if view.form.mending else "Begin the night")
        for button in (self.rehearse, self.replay):
            button.setVisible(not view.form.mending)
        self.back.setVisible(view.form.mending)
        self.back.key = next((action.key for action in view.actions), "")
        problems = (view.form.site_problem, view.form.air_problem, view.form.optics_problem, view.form.folder_problem)
        self.lacking.show_text("" if view.form.lacking in problems else view.form.lacking)
        self.trouble.show_trouble(view.trouble)
        self.trouble.setVisible(view.trouble is not None)
        self.keys.show_work(view.work)
        self.known_sites.setVisible(bool(view.form.sites))
        self.known_rigs.setVisible(bool(view.form.rigs))
        untouched = "each frame is read as it arrives; nothing in the folder is changed"
        sources = (
            view.form.site_from,
            "",
            view.form.rig_note or view.form.optics_from,
            view.form.folder_note or untouched,
        )
        for note, problem, source in zip(self.notes, problems, sources, strict=True):
            note.show_text(problem or source, "strong" if problem else "faint", bold=bool(problem))

    def go_to_what_is_lacking(self) -> None:
        """Where to type before the night can begin, the reason in bold."""
        self.lacking.show_text(self.form.lacking, "strong", bold=True)
        empty = [field for field in (self.latitude, self.longitude, self.folder) if not field.edit.text().strip()]
        if empty:
            empty[0].edit.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def open_sites(self) -> None:
        """The sites of earlier nights."""
        self.offer(self.form.sites, UseSite, self.known_sites)

    def open_rigs(self) -> None:
        """The rigs of earlier nights."""
        self.offer(self.form.rigs, UseRig, self.known_rigs)

    def offer(self, known: Sequence[KnownName], use: type[UseSite | UseRig], button: PlainButton) -> None:
        """Let the person pick by arrow keys or pointer."""
        self.fill_menu(known, use)
        if known:
            self.menu.popup(button.mapToGlobal(button.rect().bottomLeft()))

    def fill_menu(self, known: Sequence[KnownName], use: type[UseSite | UseRig]) -> None:
        """One line for each: its name, and what is known of it."""
        self.menu.clear()
        for one in known:
            line = f"{one.name}\t{one.words}" if one.words else one.name
            self.menu.addAction(line.replace("&", "&&")).setData(use(one.name))
        if known:
            self.menu.setActiveAction(self.menu.actions()[0])

    def _on_picked(self, line: QAction) -> None:
        self.setFocus(Qt.FocusReason.OtherFocusReason)  # so that no field keeps what was typed before
        self.pressed.emit(line.data())

    def filled(self) -> FillForm:
        """The form as it stands."""
        return FillForm(**{name: field.edit.text().strip() for name, field in self.named.items()})

    def _on_edited(self) -> None:
        self.pressed.emit(self.filled())

    def _on_return(self) -> None:
        self.focusNextChild()

    def _on_choose(self) -> None:
        self.pressed.emit(ChooseFolder(None))

    def _on_begin(self) -> None:
        self.pressed.emit(self.filled())
        self.pressed.emit(StartNight())

    def _on_rehearse(self) -> None:
        self.pressed.emit(OfTheWindow.REHEARSALS)

    def _on_replay(self) -> None:
        self.pressed.emit(OpenNights())

    def _on_back(self) -> None:
        self.pressed.emit(LeaveForm())

    def set_folder(self, folder: Path) -> None:
        """Put a chosen folder into the form."""
        self.folder.edit.setText(str(folder))
        self._on_edited()

    def look_changed(self) -> None:
        px = self.look.px
        self._column.setContentsMargins(0, round(px(20)), round(px(44)), round(px(14)))
        self._left.setContentsMargins(round(px(14)), 0, round(px(14)), round(px(14)))
        self._column.setSpacing(round(px(10)))
        self._grid.setHorizontalSpacing(round(px(14)))
        self._grid.setVerticalSpacing(round(px(4)))
        self.said.setVisible(self.height() >= px(ROOMY_PX))
        for field in self.fields:
            field.setFixedHeight(max(round(px(62)), field.minimumSizeHint().height()))
        for part, high in (
            (self.title, 50), (self.said, 44), *((note, 26) for note in self.notes), (self.lacking, 26),
            (self.keys, 38), (self.known_sites, 36), (self.known_rigs, 36), (self.choose, 38), (self.begin, 82),
            (self.rehearse, 82), (self.replay, 82), (self.back, 82),
        ):  # fmt: skip
            part.setFixedHeight(round(px(high)))
        self.trouble.setFixedHeight(round(px(104)))
