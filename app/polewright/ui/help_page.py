"""The user guide in the window: its pages, in the window's own light."""

from __future__ import annotations

from PySide6.QtCore import Qt, QUrl, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from polewright.services.guide import INDEX, Place, guide_pages, guide_picture
from polewright.ui.buttons import PlainButton
from polewright.ui.panel import FullPanel
from polewright.ui.reader import Reader


class HelpPage(FullPanel):
    """Lies over the window; `left` says that it was read."""

    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.place = Place(INDEX)
        self._read: list[str] = []  # pages before this one
        self.reader = Reader(self)
        self.back = PlainButton("Previous page", "Backspace", parent=self)
        self.contents = PlainButton("Contents", "C", parent=self)
        self.leave = PlainButton("Close the guide", "Escape", parent=self)
        self.reader.anchorClicked.connect(self._on_link)
        self.back.clicked.connect(self.go_back)
        self.contents.clicked.connect(self._on_contents)
        self.leave.clicked.connect(self.left)
        row = QHBoxLayout()
        for button in (self.back, self.contents, self.leave):
            row.addWidget(button, 1)
        self._column = QVBoxLayout(self)
        self._column.addWidget(self.reader, 1)
        self._column.addLayout(row)

    def open(self, place: Place) -> None:
        """Begin to read at this place."""
        self._read = []
        self._show(place)
        self.reader.setFocus(Qt.FocusReason.OtherFocusReason)

    def _show(self, place: Place) -> None:
        self.place = place
        self.reader.show_markdown(guide_pages().get(place.page, ""), guide_picture)
        self.reader.go_to(place.words)
        self.back.setVisible(bool(self._read))

    def _on_link(self, link: QUrl) -> None:
        """Only pages of the guide are followed."""
        page = link.path() or self.place.page
        if page in guide_pages():
            self._read.append(self.place.page)
            self._show(Place(page, link.fragment().replace("-", " ")))

    def go_back(self) -> None:
        """To the page read before."""
        if self._read:
            self._show(Place(self._read.pop()))

    def _on_contents(self) -> None:
        if self.place.page != INDEX:
            self._read.append(self.place.page)
        self._show(Place(INDEX))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        match event.key():
            case Qt.Key.Key_Escape | Qt.Key.Key_Question:
                self.left.emit()
            case Qt.Key.Key_Backspace:
                self.go_back()
            case Qt.Key.Key_C:
                self._on_contents()
            case _:
                event.ignore()
                return
        event.accept()

    def look_changed(self) -> None:
        px = self.look.px
        self._column.setContentsMargins(round(px(40)), round(px(16)), round(px(40)), round(px(12)))
        self._column.setSpacing(round(px(8)))
        for button in (self.back, self.contents, self.leave):
            button.setFixedHeight(round(px(48)))
