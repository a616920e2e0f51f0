"""Choosing a folder or a recording: our own dialog, since the desktop's would shine white at night."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from polewright.runtime.jobs import Asks, Done
from polewright.services.paths import data_folder
from polewright.ui.buttons import PlainButton
from polewright.ui.folder_listing import Listing, list_folder, nearest_folder
from polewright.ui.line_field import LineField
from polewright.ui.look import BIG, BODY, SMALL
from polewright.ui.panel import Caption, FullPanel
from polewright.words.forms import frames_in, no_night_here, not_opened, take_it, this_folder

PLACE = Qt.ItemDataRole.UserRole


class FolderPage(FullPanel):
    """A page over the window: folders as large rows, the path to type in, and how many frames lie there.

    The highlighted row is what is taken, and the first row is the folder itself; a path being typed comes before
    both. `chosen` carries a Path, `left` says that nothing was chosen. With `endings` files are offered as well, and
    only they are taken.
    """

    chosen = Signal(object)
    left = Signal()

    def __init__(self, worker: Asks, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.worker = worker
        self.endings: tuple[str, ...] = ()
        self.folder = Path.home()
        self._own_note = ""
        self.path = LineField(self)
        self.path.setAccessibleName("folder")
        self.rows = QListWidget(self)
        self.rows.setAccessibleName("folders here")
        self.rows.setUniformItemSizes(True)
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.take = PlainButton("Use this folder", "Ctrl+Return", loud=True, parent=self)
        self.up = PlainButton("Up", "Alt+Up", parent=self)
        self.leave = PlainButton("Leave", "Escape", parent=self)
        self.path.returnPressed.connect(self._on_typed)
        self.path.textEdited.connect(self._on_edited)
        self.rows.itemActivated.connect(self._on_opened)
        self.rows.currentItemChanged.connect(self._on_highlighted)
        self.take.clicked.connect(self._on_take)
        self.up.clicked.connect(self._on_up)
        self.leave.clicked.connect(self.left)
        self._titled, self._noted = Caption(BIG * 1.2, "strong", bold=True), Caption(SMALL)
        typed, ends = QHBoxLayout(), QHBoxLayout()
        typed.addWidget(self.path)
        typed.addWidget(self.up)
        ends.addWidget(self.leave)
        ends.addStretch(1)
        ends.addWidget(self.take)
        column = self._column = QVBoxLayout(self)
        column.addWidget(self._titled)
        column.addLayout(typed)
        column.addWidget(self.rows, 1)
        column.addWidget(self._noted)
        column.addLayout(ends)

    def ask(self, title: str, start: Path, endings: tuple[str, ...] = ()) -> None:
        """Begin in a folder, or in its nearest parent that exists."""
        self._titled.show_text(title)
        self.endings = endings
        self.take.setVisible(not endings)
        self._look(lambda: list_folder(nearest_folder(start), endings))
        self.rows.setFocus(Qt.FocusReason.TabFocusReason)

    def go(self, folder: Path) -> None:
        """Show a folder; one that cannot be read says so and stays where it was."""
        endings = self.endings
        self._look(lambda: list_folder(folder, endings))

    def _look(self, job: Callable[[], Listing]) -> None:
        self._noted.show_text("Looking …")
        self.worker.ask("folder", job, self._on_listed)

    def _on_listed(self, done: Done) -> None:
        listing: Listing = done.result()
        if listing.problem:
            self._noted.show_text(not_opened(_name(listing.folder), listing.problem))
        else:
            self._show_listing(listing)

    @property
    def note(self) -> str:
        """How many frames lie here, or why there is nothing to choose."""
        return self._noted.text

    def _show_listing(self, listing: Listing) -> None:
        self.folder = listing.folder
        self.path.setText(str(listing.folder))
        self.rows.clear()
        if not self.endings:
            self._add(listing.folder, this_folder(_name(listing.folder)), False)
        for name in listing.folders:
            self._add(listing.folder / name, f"{name}/", True)
        for name in listing.files:
            self._add(listing.folder / name, name, False)
        if self.rows.count():
            self.rows.setCurrentRow(0)
        self._own_note = self._lies_here(listing)
        self._noted.show_text(self._own_note)

    def _lies_here(self, listing: Listing) -> str:
        if not self.endings:
            return frames_in(_name(listing.folder), listing.frames)
        return "" if self.rows.count() else no_night_here(str(data_folder() / "nights"))

    def _add(self, entry: Path, text: str, is_folder: bool) -> None:
        item = QListWidgetItem(text)
        item.setData(PLACE, (str(entry), is_folder))
        self.rows.addItem(item)

    def _on_typed(self) -> None:
        self.go(Path(self.path.text().strip()).expanduser())
        self.rows.setFocus(Qt.FocusReason.TabFocusReason)

    def _on_opened(self, item: QListWidgetItem) -> None:
        place, is_folder = item.data(PLACE)
        if is_folder:
            self.go(Path(place))
        else:
            self.chosen.emit(Path(place))

    def _on_highlighted(self, row: QListWidgetItem | None) -> None:
        """The button names what it takes; how many frames lie there is looked up."""
        if self.endings or row is None:
            return
        place = Path(row.data(PLACE)[0])
        self.path.setText(str(self.folder))
        if place == self.folder:
            self.take.setText(take_it(_name(place)))
            self._noted.show_text(self._own_note)
        else:
            self._look_ahead(place)

    def _on_edited(self, text: str) -> None:
        """A path is being typed: the button names its end."""
        if text.strip() and not self.endings:
            self._look_ahead(self.offered)

    def _look_ahead(self, place: Path) -> None:
        self.take.setText(take_it(_name(place)))
        self.worker.ask("highlighted folder", lambda: list_folder(place), self._on_looked_ahead)

    def _on_looked_ahead(self, done: Done) -> None:
        listing: Listing = done.result()
        if listing.folder == self.offered:
            name = _name(listing.folder)
            self._noted.show_text(
                not_opened(name, listing.problem) if listing.problem else frames_in(name, listing.frames)
            )

    @property
    def offered(self) -> Path:
        """What would be taken: a typed path, else what is highlighted."""
        typed, row = self.path.text().strip(), self.rows.currentItem()
        if typed and typed != str(self.folder):
            return Path(typed).expanduser().absolute()
        return self.folder if row is None else Path(row.data(PLACE)[0])

    def _on_take(self) -> None:
        place = self.offered
        self._noted.show_text("Looking …")
        self.worker.ask("folder", lambda: list_folder(place), self._on_taken)

    def _on_taken(self, done: Done) -> None:
        """A folder that cannot be read is said, not taken."""
        listing: Listing = done.result()
        if listing.problem:
            self._noted.show_text(not_opened(_name(listing.folder), listing.problem))
        else:
            self.chosen.emit(listing.folder)

    def _on_up(self) -> None:
        self.go(self.folder.parent)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key, held = event.key(), event.modifiers()
        if key == Qt.Key.Key_Escape:
            self.left.emit()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and held & Qt.KeyboardModifier.ControlModifier:
            if not self.endings:
                self._on_take()
        elif key == Qt.Key.Key_Up and held & Qt.KeyboardModifier.AltModifier:
            self._on_up()
        else:
            event.ignore()  # red light and the like are the window's
            return
        event.accept()

    def look_changed(self) -> None:
        px = self.look.px
        self.rows.setFont(self.look.font(BODY))
        self._column.setContentsMargins(round(px(60)), round(px(30)), round(px(60)), round(px(24)))
        self._column.setSpacing(round(px(10)))
        self._titled.setFixedHeight(round(px(50)))
        self._noted.setFixedHeight(round(px(32)))
        self.path.setFixedHeight(round(px(44)))
        self.up.setFixedSize(round(px(138)), round(px(44)))
        self.leave.setFixedSize(round(px(200)), round(px(84)))
        self.take.setFixedSize(round(px(360)), round(px(84)))


def _name(folder: Path) -> str:
    """The last part of its path; the path itself where there is none."""
    return folder.name or str(folder)
