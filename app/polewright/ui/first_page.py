"""The first page: where you are, what you look through, where the frames land; or rehearse at once."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QAction, QFont, QPainter, QResizeEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QMenu, QWidget

from polewright.ui.arrange import unit_for
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT_TOP, WRAP, draw_fitted
from polewright.ui.intents import ChooseFolder, FillForm, OpenReplay, StartNight, StartRehearsal, UseRig, UseSite
from polewright.ui.keys import KNOWN_RIGS, KNOWN_SITES
from polewright.ui.keys_bar import KeysBar
from polewright.ui.line_field import LineField
from polewright.ui.look import BODY, SMALL, VALUE, Look
from polewright.ui.notices import TroublePanel, WorkPanel
from polewright.ui.panel import Panel
from polewright.ui.reticle import ReticleWidget
from polewright.ui.theme import Role
from polewright.ui.view_model import Point, Reticle, SiteForm, TrailPoint, View

PICTURE = Reticle(
    tolerance_arcmin=2.0,
    tolerance_text="",
    axis=Point(0.3, 0.4),
    trail=(
        TrailPoint(-190, -120), TrailPoint(-64, -118, True), TrailPoint(-9, -100), TrailPoint(-2, -98),
        TrailPoint(-1.5, -34, True), TrailPoint(-0.9, -7), TrailPoint(0.3, 0.4),
    ),
)  # fmt: skip


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
        self.edit.set_look(look, BODY)


class FirstPage(Panel):
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
        self.focal_length = Field("Focal length", "mm", self)
        self.pixel_size = Field("Pixel size", "µm", self)
        self.folder = Field("Folder where the frames land", "", self)
        self.fields = (
            self.latitude, self.longitude, self.elevation, self.focal_length, self.pixel_size, self.folder,
        )  # fmt: skip
        self.known_sites = PlainButton("Known sites", KNOWN_SITES, parent=self)
        self.known_rigs = PlainButton("Known rigs", KNOWN_RIGS, parent=self)
        self.menu = QMenu(self)
        self.trouble = TroublePanel(self)
        self.work = WorkPanel(self)
        self.trouble.pressed.connect(self.pressed)
        self.work.pressed.connect(self.pressed)
        self.choose = PlainButton("Choose", "Ctrl+O", parent=self)
        self.begin = PlainButton("Begin the night", "Ctrl+Return", loud=True, parent=self)
        self.rehearse = PlainButton("Rehearse now", "Ctrl+P", parent=self)
        self.replay = PlainButton("Play a recorded night", "Ctrl+L", parent=self)
        self.rehearse.large = True
        self.buttons = (
            self.known_sites, self.known_rigs, self.choose, self.begin, self.rehearse, self.replay,
        )  # fmt: skip
        self._connect()

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

    def show_view(self, view: View) -> None:
        """Show what is known; what the person is typing stays."""
        self.form = view.form
        values = (
            view.form.latitude, view.form.longitude, view.form.elevation,
            view.form.focal_length, view.form.pixel_size, view.form.folder,
        )  # fmt: skip
        for field, value in zip(self.fields, values):
            typing = field.edit.hasFocus() and (field.edit.isModified() or bool(field.edit.text()))
            if not typing and field.edit.text() != value:
                field.edit.setText(value)
        self.begin.setEnabled(view.form.ready)
        self.trouble.show_trouble(view.trouble)
        self.trouble.setVisible(view.trouble is not None)
        self.work.show_work(view.work)
        self.work.setVisible(view.work is not None)
        self.work.raise_()
        self.known_sites.setVisible(bool(view.form.sites))
        self.known_rigs.setVisible(bool(view.form.rigs))
        self.update()

    def open_sites(self) -> None:
        """The sites of earlier nights."""
        self.offer([UseSite(name) for name in self.form.sites], self.known_sites)

    def open_rigs(self) -> None:
        """The rigs of earlier nights."""
        self.offer([UseRig(name) for name in self.form.rigs], self.known_rigs)

    def offer(self, intents: Sequence[UseSite | UseRig], button: PlainButton) -> None:
        """Let the person pick by arrow keys or pointer."""
        self.fill_menu(intents)
        if intents:
            self.menu.popup(button.mapToGlobal(button.rect().bottomLeft()))

    def fill_menu(self, intents: Sequence[UseSite | UseRig]) -> None:
        """One line for each."""
        self.menu.clear()
        for intent in intents:
            self.menu.addAction(intent.name.replace("&", "&&")).setData(intent)
        if intents:
            self.menu.setActiveAction(self.menu.actions()[0])

    def _on_picked(self, line: QAction) -> None:
        self.setFocus(Qt.FocusReason.OtherFocusReason)  # so that no field keeps what was typed before
        self.pressed.emit(line.data())

    def filled(self) -> FillForm:
        """The form as it stands."""
        return FillForm(*(field.edit.text().strip() for field in self.fields))

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
        self.pressed.emit(StartRehearsal())

    def _on_replay(self) -> None:
        self.pressed.emit(OpenReplay(None))

    def set_folder(self, folder: Path) -> None:
        """Put a chosen folder into the form."""
        self.folder.edit.setText(str(folder))
        self._on_edited()

    def set_look(self, look: Look) -> None:
        look = Look(look.theme, unit_for(self.width(), self.height()))
        super().set_look(look)
        for part in (*self.fields, *self.buttons, self.well, self.keys, self.trouble, self.work):
            part.set_look(look)
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.set_look(self.look)

    def _rows(self) -> tuple[float, float, float]:
        """Left edge, width and top of the form."""
        px = self.look.px
        left = self.width() * 0.46
        return left, self.width() - left - px(44), px(44)

    def _place(self) -> None:
        px = self.look.px
        left, width, top = self._rows()
        keys_h = px(38)
        self.keys.setGeometry(0, round(self.height() - keys_h), self.width(), round(keys_h))
        side = min(self.width() * 0.42, self.height() - keys_h - px(40))
        self.well.setGeometry(round(px(18)), round((self.height() - keys_h - side) / 2), round(side), round(side))
        high, gap = px(68), px(14)

        def across(y: float, parts: list[QWidget], shares: list[float], tall: float) -> None:
            x = left
            for part, share in zip(parts, shares):
                w = (width - gap * (len(parts) - 1)) * share
                part.setGeometry(round(x), round(y), round(w), round(tall))
                x += w + gap

        third = [1 / 3] * 3
        y = top + px(132)
        across(y, [self.latitude, self.longitude, self.elevation], third, high)
        column = (width - 2 * gap) / 3 / (width - gap)  # as wide as those above
        across(y + px(118), [self.focal_length, self.pixel_size], [column, column], high)
        self._place_known(left, width, px(40))
        across(y + px(236), [self.folder], [0.74], high)
        folder = self.folder.geometry()
        self.choose.setGeometry(
            round(folder.right() + gap),
            round(folder.bottom() - px(43)),
            round(width - folder.width() - gap),
            round(px(44)),
        )
        bottom = self.height() - keys_h - px(16)
        self._place_notices(left, width, bottom)
        self.replay.setGeometry(round(left), round(bottom - px(46)), round(width), round(px(46)))
        across(bottom - px(46) - px(12) - px(84), [self.begin, self.rehearse], [0.5, 0.5], px(84))

    def _place_notices(self, left: float, width: float, bottom: float) -> None:
        """Trouble between the form and the buttons; work in progress over the middle."""
        px = self.look.px
        top = self.folder.geometry().bottom() + px(32)
        low = bottom - px(46) - px(12) - px(84) - px(8)
        self.trouble.setGeometry(round(left), round(top), round(width), round(max(px(60), min(px(112), low - top))))
        wide, high = min(px(640), self.width() - px(60)), px(176)
        self.work.setGeometry(
            round((self.width() - wide) / 2), round((self.height() - high) / 2), round(wide), round(high)
        )

    def _place_known(self, left: float, width: float, tall: float) -> None:
        """Beside the optics, in the column that is free; the sites' button under the right end of their row."""
        px = self.look.px
        column = self.elevation.geometry()
        optics = self.pixel_size.geometry()
        self.known_rigs.setGeometry(column.x(), round(optics.bottom() - tall - px(2)), column.width(), round(tall))
        self.known_sites.setGeometry(column.x(), round(column.bottom() + px(6)), column.width(), round(tall - px(4)))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look, form = self.look, self.form
        px = look.px
        left, width, top = self._rows()
        title = QRectF(left, top, width, px(64))
        draw_fitted(painter, "Polewright", title, px(54), look.colour("strong"), QFont.Weight.DemiBold)
        said = QRectF(left, top + px(70), width, px(50))
        text = "Brings your mount's axis to the pole, from frames of any patch of sky."
        draw_fitted(painter, text, said, px(VALUE), look.colour("ink"))
        notes: tuple[tuple[QWidget, str, str], ...] = (
            (self.latitude, form.site_problem, form.site_from),
            (self.focal_length, form.optics_problem, form.optics_from),
            (self.folder, form.folder_problem, "each frame is read as it arrives; nothing in the folder is changed"),
        )
        for field, problem, source in notes:
            line = QRectF(left, field.geometry().bottom() + px(3), width, px(30))
            role: Role = "strong" if problem else "faint"
            weight = QFont.Weight.DemiBold if problem else QFont.Weight.Normal
            draw_fitted(painter, problem or source, line, px(SMALL), look.colour(role), weight, LEFT_TOP | WRAP)
