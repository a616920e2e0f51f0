"""Choosing a folder or a recording: our own dialog, since the desktop's would shine white at night."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QKeyEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import QListWidget, QListWidgetItem, QWidget

from polewright.runtime.worker import Done, InlineWorker, Worker
from polewright.ui.arrange import unit_for
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT, draw_fitted
from polewright.ui.folder_listing import Listing, frames_here, list_folder, nearest_folder
from polewright.ui.line_field import LineField
from polewright.ui.look import BIG, BODY, SMALL, Look
from polewright.ui.panel import Panel

PLACE = Qt.ItemDataRole.UserRole


class FolderPage(Panel):
    """A page over the window: folders as large rows, the path to type in, and how many frames lie there.

    `chosen` carries a Path, `left` says that nothing was chosen. With `endings` files are offered as well.
    """

    chosen = Signal(object)
    left = Signal()

    def __init__(self, worker: Worker | InlineWorker, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.worker = worker
        self.title = ""
        self.endings: tuple[str, ...] = ()
        self.folder = Path.home()
        self.note = ""
        self.path = LineField(self)
        self.path.setAccessibleName("folder")
        self.rows = QListWidget(self)
        self.rows.setAccessibleName("folders here")
        self.rows.setUniformItemSizes(True)
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.take = PlainButton("Take this folder", "Ctrl+Return", loud=True, parent=self)
        self.up = PlainButton("Up", "Alt+Up", parent=self)
        self.leave = PlainButton("Leave", "Escape", parent=self)
        self.path.returnPressed.connect(self._on_typed)
        self.rows.itemActivated.connect(self._on_opened)
        self.take.clicked.connect(self._on_take)
        self.up.clicked.connect(self._on_up)
        self.leave.clicked.connect(self.left)
        self.buttons = (self.take, self.up, self.leave)

    def ask(self, title: str, start: Path, endings: tuple[str, ...] = ()) -> None:
        """Begin in a folder, or in its nearest parent that exists."""
        self.title, self.endings = title, endings
        self.take.setVisible(not endings)
        self._look(lambda: list_folder(nearest_folder(start), endings))
        self.rows.setFocus(Qt.FocusReason.TabFocusReason)

    def go(self, folder: Path) -> None:
        """Show a folder; one that cannot be read says so and stays where it was."""
        endings = self.endings
        self._look(lambda: list_folder(folder, endings))

    def _look(self, job: Callable[[], Listing]) -> None:
        self.note = "Looking …"
        self.update()
        self.worker.ask("folder", job, self._on_listed)

    def _on_listed(self, done: Done) -> None:
        if done.problem is not None:
            raise done.problem
        listing: Listing = done.value
        if listing.problem:
            self.note = (
                f"{listing.folder.name or listing.folder} cannot be opened: {listing.problem}. Choose another."
            )
        else:
            self._show_listing(listing)
        self.update()

    def _show_listing(self, listing: Listing) -> None:
        self.folder = listing.folder
        self.path.setText(str(listing.folder))
        self.rows.clear()
        for name in listing.folders:
            self._add(listing.folder / name, f"{name}/", True)
        for name in listing.files:
            self._add(listing.folder / name, name, False)
        if self.rows.count():
            self.rows.setCurrentRow(0)
        self.note = "" if self.endings else frames_here(listing.frames)

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

    def _on_take(self) -> None:
        self.chosen.emit(self.folder)

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
        event.accept()

    def set_look(self, look: Look) -> None:
        look = Look(look.theme, unit_for(self.width(), self.height()))
        super().set_look(look)
        self.path.set_look(look, BODY)
        self.rows.setFont(look.font(BODY))
        for button in self.buttons:
            button.set_look(look)
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.set_look(self.look)

    def _place(self) -> None:
        px = self.look.px
        margin, high = px(60), px(84)
        width = self.width() - 2 * margin
        self.path.setGeometry(round(margin), round(px(92)), round(width - px(150)), round(px(44)))
        self.up.setGeometry(round(margin + width - px(138)), round(px(92)), round(px(138)), round(px(44)))
        bottom = self.height() - px(24) - high
        self.rows.setGeometry(round(margin), round(px(150)), round(width), round(bottom - px(150) - px(46)))
        self.leave.setGeometry(round(margin), round(bottom), round(px(200)), round(high))
        self.take.setGeometry(round(margin + width - px(360)), round(bottom), round(px(360)), round(high))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        px = self.look.px
        title = QRectF(px(60), px(30), box.width() - px(120), px(50))
        draw_fitted(
            painter, self.title, title, px(BIG * 1.2), self.look.colour("strong"), QFont.Weight.DemiBold, LEFT
        )
        note = QRectF(px(60), self.rows.geometry().bottom() + px(6), box.width() - px(120), px(32))
        draw_fitted(painter, self.note, note, px(SMALL), self.look.colour("ink"), flags=LEFT)
