"""The page of all recorded nights: a list with a small picture of each trail, the chosen night, and its report."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QSize, Qt, Signal
from PySide6.QtGui import QIcon, QKeyEvent, QPainter, QPixmap, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QListWidget, QListWidgetItem, QStackedLayout, QVBoxLayout, QWidget

from polewright.ui.buttons import ButtonRow
from polewright.ui.drawing import RIGHT
from polewright.ui.facts_panel import FactsPanel
from polewright.ui.intents import ChooseNight
from polewright.ui.keys_bar import KeysBar
from polewright.ui.look import BIG, BODY, VALUE, Look
from polewright.ui.notices import TroublePanel
from polewright.ui.panel import Caption, FullPanel, Panel
from polewright.ui.reader import SCROLLS, Reader
from polewright.ui.reticle import ReticleWidget
from polewright.ui.view_model import NightRow, Nights, ReportPage, Reticle, View, Weight
from polewright.ui.well_scale import scale_for

STAMP_PX = 52


class NightList(QListWidget):
    """Arrows go through it; every other key belongs to the page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSpacing(2)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in SCROLLS and not event.modifiers():
            super().keyPressEvent(event)
        else:
            event.ignore()


class NightsPage(FullPanel):
    """Emits `pressed` with intents."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows = NightList()
        self.rows.setAccessibleName("recorded nights")
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.rows.setWordWrap(False)
        self.well = ReticleWidget()
        self.well.animated = False
        self.facts = FactsPanel()
        self.trouble = TroublePanel()
        self.primary, self.plain = ButtonRow(Weight.PRIMARY), ButtonRow(Weight.PLAIN)
        self.report, self.of_report = Reader(), ButtonRow(Weight.PRIMARY)
        self.title, self.said = Caption(BIG * 1.2, "strong", bold=True), Caption(VALUE, "ink", RIGHT)
        self.keys = KeysBar()
        self._shown: tuple[NightRow, ...] = ()
        self._report: ReportPage | None = None
        self._worn: Look | None = None  # the look that the stamps are painted in
        self._lay_out()
        for part in (self.primary, self.plain, self.of_report, self.trouble, self.keys):
            part.pressed.connect(self.pressed)
        self.rows.currentRowChanged.connect(self._on_row)
        self.rows.itemActivated.connect(self._on_activated)

    def _lay_out(self) -> None:
        self._right = QVBoxLayout()
        self._right.addWidget(self.well, 1)
        self._right.addWidget(self.facts)
        both = QHBoxLayout()
        both.addWidget(self.rows, 54)
        both.addLayout(self._right, 46)
        self._list, self._paper = Panel(self), Panel(self)
        listed = self._listed = QVBoxLayout(self._list)
        listed.setContentsMargins(0, 0, 0, 0)
        listed.addLayout(both, 1)
        listed.addWidget(self.primary)
        listed.addWidget(self.plain)
        paper = self._read = QVBoxLayout(self._paper)
        paper.setContentsMargins(0, 0, 0, 0)
        paper.addWidget(self.report, 1)
        paper.addWidget(self.of_report)
        self._two = QStackedLayout()
        self._two.addWidget(self._list)
        self._two.addWidget(self._paper)
        column = self._column = QVBoxLayout()
        head = QHBoxLayout()
        head.addWidget(self.title, 2)
        head.addWidget(self.said, 3)
        column.addLayout(head)
        column.addWidget(self.trouble)
        column.addLayout(self._two, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addLayout(column, 1)
        whole.addWidget(self.keys)

    def show_view(self, view: View) -> None:
        """Show the list, or the report over it."""
        nights = view.nights
        if nights is None:
            return
        self._show_rows(nights)
        chosen = nights.rows[nights.chosen] if nights.chosen < len(nights.rows) else None
        self.facts.show_facts(() if chosen is None else chosen.facts)
        self.well.show_reticle(view.reticle)
        self.title.show_text(view.instruction.sentence if nights.report is None else nights.report.title)
        self.said.show_text(nights.said if nights.report is None else "")
        self.trouble.show_trouble(view.trouble)
        self.trouble.setVisible(view.trouble is not None)
        self.keys.show_work(view.work)
        for row in (self.primary, self.plain, self.of_report):
            row.show_actions(view.actions)
        self._show_report(nights.report)

    def _show_rows(self, nights: Nights) -> None:
        if nights.rows == self._shown:
            return
        added = nights.rows[len(self._shown) :] if nights.rows[: len(self._shown)] == self._shown else None
        self.rows.blockSignals(True)
        if added is None:
            self.rows.clear()
        for row in nights.rows if added is None else added:
            self.rows.addItem(self._item(row))
        self._shown = nights.rows
        if self.rows.count():
            self.rows.setCurrentRow(nights.chosen)
        self.rows.blockSignals(False)

    def _item(self, row: NightRow) -> QListWidgetItem:
        item = QListWidgetItem(_icon(row.picture, self.look), f"{row.title}\n{row.note}")
        item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{row.title}, {row.note}")
        return item

    def _show_report(self, report: ReportPage | None) -> None:
        if report is not self._report:
            self._report = report
            if report is not None:
                pictures = {name: svg.encode() for name, svg in report.pictures}
                self.report.show_html(report.html, pictures.get)
        page = self._list if report is None else self._paper
        if self._two.currentWidget() is not page:
            self._two.setCurrentWidget(page)
            self.take_focus()

    def take_focus(self) -> None:
        """The keyboard goes where the arrows are of use."""
        part = self.rows if self._report is None else self.report
        part.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_row(self, row: int) -> None:
        if row >= 0:
            self.pressed.emit(ChooseNight(row))

    def _on_activated(self, item: QListWidgetItem) -> None:
        for action in self.primary.actions_shown[:1]:
            if action.enabled:
                self.pressed.emit(action.intent)

    def look_changed(self) -> None:
        px, look = self.look.px, self.look
        self.rows.setFont(look.font(BODY))
        self.rows.setIconSize(QSize(round(px(STAMP_PX)), round(px(STAMP_PX))))
        if look != self._worn:
            self._worn = look
            self._paint_stamps()
        self._column.setContentsMargins(round(px(30)), round(px(14)), round(px(30)), round(px(10)))
        for layout in (self._column, self._listed, self._read, self._right):
            layout.setSpacing(round(px(8)))
        for part, high in (
            (self.title, 46), (self.said, 46), (self.facts, 200), (self.primary, 54), (self.plain, 42),
            (self.of_report, 54), (self.keys, 38), (self.trouble, 104),
        ):  # fmt: skip
            part.setFixedHeight(round(px(high)))

    def _paint_stamps(self) -> None:
        for at, row in enumerate(self._shown):
            self.rows.item(at).setIcon(_icon(row.picture, self.look))


def _icon(picture: Reticle, look: Look) -> QIcon:
    """The trail of a night as a stamp; the same when its line is chosen."""
    side = round(look.px(STAMP_PX))
    stamp = QPixmap(side, side)
    stamp.fill(look.colour("raised"))
    painter = QPainter(stamp)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    centre, radius, scale = QPointF(side / 2, side / 2), side / 2 - 3.0, scale_for(picture.tolerance_arcmin)
    painter.setPen(look.pen("line", 1.2))
    painter.drawEllipse(centre, radius, radius)
    painter.setBrush(look.colour("floor"))
    painter.drawEllipse(centre, radius * 0.17, radius * 0.17)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    places = [_at(centre, radius, *scale.place(p.east_arcmin, p.up_arcmin), picture.southern) for p in picture.trail]
    painter.setPen(look.pen("ink", 1.6))
    painter.drawPolyline(QPolygonF(places))
    if places:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour("strong"))
        painter.drawEllipse(places[-1], 3.0, 3.0)
    painter.end()
    icon = QIcon(stamp)
    icon.addPixmap(stamp, QIcon.Mode.Selected)
    return icon


def _at(centre: QPointF, radius: float, toward_east: float, toward_up: float, southern: bool) -> QPointF:
    x = -toward_east if southern else toward_east
    return QPointF(centre.x() + x * radius, centre.y() - toward_up * radius)
