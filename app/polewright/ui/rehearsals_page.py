"""The page of rehearsals: every simulated night with a line about it, and a seed that draws mount and mishaps."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QListWidgetItem, QVBoxLayout, QWidget

from polewright.simulate.scenarios import SCENARIOS
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT_TOP, WRAP
from polewright.ui.intents import StartRehearsal
from polewright.ui.look import BIG, BODY, SMALL, VALUE
from polewright.ui.nights_page import NightList
from polewright.ui.panel import Caption, FullPanel
from polewright.words.practice import REHEARSALS, WHAT_A_SEED_IS, night_title, seed_text

BEGINNING = "first-night"  # what one rehearses first
HIGHEST_SEED = 999


class RehearsalsPage(FullPanel):
    """Lies over the window. `chosen` carries a StartRehearsal, `left` nothing."""

    chosen = Signal(object)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.seed = 1
        self.names = tuple(SCENARIOS)
        self.rows = NightList(self)
        self.rows.setAccessibleName("simulated nights")
        for name in self.names:
            night = SCENARIOS[name]
            self.rows.addItem(QListWidgetItem(f"{night_title(name, night.place)}\n{night.story}"))
        self.rows.setCurrentRow(self.names.index(BEGINNING))
        self.rows.setWordWrap(False)
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.title, self.said = Caption(BIG * 1.2, "strong", bold=True), Caption(SMALL, "ink", LEFT_TOP | WRAP)
        self.number = Caption(VALUE, "strong", bold=True)
        self.title.show_text(REHEARSALS)
        self.said.show_text(WHAT_A_SEED_IS)
        self.begin = PlainButton("Rehearse this night", "Return", loud=True, parent=self)
        self.less = PlainButton("Another mount", "Left", parent=self)
        self.more = PlainButton("Another mount", "Right", parent=self)
        self.leave = PlainButton("Leave", "Escape", parent=self)
        self._lay_out()
        self.begin.clicked.connect(self._on_begin)
        self.less.clicked.connect(self._on_less)
        self.more.clicked.connect(self._on_more)
        self.leave.clicked.connect(self.left)
        self.rows.itemActivated.connect(self._on_begin)
        self._show_seed()

    def _lay_out(self) -> None:
        seeds, ends = QHBoxLayout(), QHBoxLayout()
        for part, share in ((self.less, 2), (self.number, 1), (self.more, 2), (self.said, 5)):
            seeds.addWidget(part, share)
        ends.addWidget(self.leave, 1)
        ends.addWidget(self.begin, 2)
        column = self._column = QVBoxLayout(self)
        column.addWidget(self.title)
        column.addWidget(self.rows, 1)
        column.addLayout(seeds)
        column.addLayout(ends)

    def ask(self, last: str = "") -> None:
        """Offer the night after `last` ("" for the first), with the seed as it stands."""
        if last in self.names:
            self.rows.setCurrentRow((self.names.index(last) + 1) % len(self.names))
        self.rows.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_begin(self) -> None:
        self.chosen.emit(StartRehearsal(self.names[max(0, self.rows.currentRow())], self.seed))

    def _on_less(self) -> None:
        self._step(-1)

    def _on_more(self) -> None:
        self._step(1)

    def _step(self, by: int) -> None:
        self.seed = (self.seed + by - 1) % HIGHEST_SEED + 1
        self._show_seed()

    def _show_seed(self) -> None:
        self.number.show_text(seed_text(self.seed))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        match event.key():
            case Qt.Key.Key_Escape:
                self.left.emit()
            case Qt.Key.Key_Return | Qt.Key.Key_Enter:
                self._on_begin()
            case Qt.Key.Key_Left:
                self._step(-1)
            case Qt.Key.Key_Right:
                self._step(1)
            case _:
                event.ignore()
                return
        event.accept()

    def look_changed(self) -> None:
        px = self.look.px
        self.rows.setFont(self.look.font(BODY))
        self._column.setContentsMargins(round(px(60)), round(px(20)), round(px(60)), round(px(16)))
        self._column.setSpacing(round(px(10)))
        for part, high in (
            (self.title, 50), (self.less, 44), (self.more, 44), (self.number, 44), (self.said, 50),
            (self.leave, 54), (self.begin, 54),
        ):  # fmt: skip
            part.setFixedHeight(round(px(high)))
