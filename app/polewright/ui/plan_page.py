"""The page of tonight's plan: the form on the left; on the right what it needs, a plot of the blur, the numbers."""

from __future__ import annotations

from dataclasses import fields

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QVBoxLayout, QWidget

from polewright.ui.blur_plot import BlurPlotPanel
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT, LEFT_TOP, WRAP
from polewright.ui.facts_panel import FactsPanel
from polewright.ui.first_page import Field
from polewright.ui.intents import AdoptPlan, FillPlan, Intent, OfTheWindow
from polewright.ui.keys import BEST_POLE, GUIDED, HELP, PLAN_KEYS, PLOTS, TARGETS
from polewright.ui.keys_bar import KeysBar
from polewright.ui.look import BIG, SMALL
from polewright.ui.object_list import ObjectList
from polewright.ui.panel import Caption, FullPanel
from polewright.ui.view_model import PlanView
from polewright.words.window import BEST_POLE_IN_USE, PLAN_UNUSED

ROWS = (
    ("target", "Target", ""), ("declination", "Declination", "°"),
    ("exposure", "Sub-exposure", "s"), ("hours", "Total time", "h"),
    ("focal_length", "Focal length", "mm"), ("pixel_size", "Pixel size", "µm"),
    ("sensor", "Sensor", "px"), ("binning", "Binning", ""),
    ("guide_offset", "Guide star off centre", "°"), ("first_hour_angle", "First hour angle", "h"),
    ("seeing", "Seeing", "″"), ("allowed_blur", "Allowed blur", "px"),
)  # fmt: skip
PLOT_LABELS = ("By exposure", "By error", "By declination")


class PlanPage(FullPanel):
    """Lies over the night. `pressed` carries intents; `left` when the person goes back."""

    pressed = Signal(object)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.view: PlanView | None = None
        self.chosen_plot = 0
        self._leaving = False
        self.fields = {name: Field(label, unit, self) for name, label, unit in ROWS}
        self.list_button = PlainButton("Targets", TARGETS, parent=self)
        self.guided = PlainButton("Guided", GUIDED, parent=self)
        self.choices = [PlainButton(label, key, parent=self) for label, key in zip(PLOT_LABELS, PLOTS, strict=True)]
        self.plot = BlurPlotPanel(self)
        self.facts = FactsPanel(self)
        self.use = PlainButton("Use this plan", "Ctrl+Return", loud=True, parent=self)
        self.aim = PlainButton("Aim", BEST_POLE, parent=self)
        self.back = PlainButton("Back", "Escape", parent=self)
        self.aim.large = self.back.large = True
        self.keys = KeysBar(self)
        self.keys.show_keys(PLAN_KEYS)
        self.buttons = (self.list_button, self.guided, *self.choices, self.use, self.aim, self.back)
        self.objects = ObjectList(self)
        self.objects.hide()
        self.titled, self.noted = Caption(BIG, "strong", bold=True), Caption(SMALL, "faint", LEFT_TOP | WRAP)
        self.titled.show_text("Tonight's plan")
        self.head, self.second = Caption(BIG * 1.2, "strong", LEFT | WRAP, bold=True), Caption(flags=LEFT | WRAP)
        self._lay_out()
        self._connect()

    def _connect(self) -> None:
        for field in self.fields.values():
            field.edit.editingFinished.connect(self._on_edited)
            field.edit.returnPressed.connect(self._on_return)
        self.list_button.clicked.connect(self.open_objects)
        self.guided.setCheckable(True)
        self.guided.clicked.connect(self._on_edited)
        for choice in self.choices:
            choice.setCheckable(True)
            choice.clicked.connect(self._on_choice)
        self.use.clicked.connect(self._on_use)
        self.aim.clicked.connect(self._on_aim)
        self.back.clicked.connect(self.left)
        self.objects.chosen.connect(self._on_object)
        self.objects.left.connect(self._close_objects)

    # what is shown

    def show_plan(self, view: PlanView) -> None:
        """Show the page; what the person is typing stays."""
        self.view = view
        for name, field in self.fields.items():
            value = getattr(view.form, name)
            typing = field.edit.hasFocus() and field.edit.isModified()
            if not typing and field.edit.text() != value:
                field.edit.setText(value)
        self.guided.setChecked(view.form.guided)
        self.guided.setText("Guided" if view.form.guided else "Not guided")
        self.fields["guide_offset"].setVisible(view.form.guided)
        self.facts.show_facts(view.facts)
        self.use.allow(view.problem)
        self.aim.setText(view.aim_text or "Best pole in use")
        self.aim.allow("" if view.aim_text else BEST_POLE_IN_USE)
        self._show_plot()
        self.head.show_text(view.problem or view.headline)
        self.second.show_text(view.cure or view.status)
        self.noted.show_text(view.target_note, "faint", bold=False)
        self._leave_when_ready()

    def _show_plot(self) -> None:
        view = self.view
        for i, choice in enumerate(self.choices):
            choice.setChecked(i == self.chosen_plot)
        plots = () if view is None else view.plots
        waiting = "Simulating the exposures…" if view is not None and view.working else ""
        self.plot.show_plot(plots[self.chosen_plot] if plots else None, waiting)

    # what the person does

    def intent_for_key(self, name: str) -> Intent | None:
        """What a key asks for here; Ctrl and function keys, since letters go into the fields."""
        buttons = {b.key: b for b in self.buttons}
        if name in buttons:
            why = "" if buttons[name].isEnabled() else buttons[name].toolTip()
            buttons[name].click()
            same = name == self.use.key and why  # what is wrong with the plan is the headline already
            self._say_why_not(PLAN_UNUSED if same else why)
            return None
        return OfTheWindow.KEYS if name == HELP else None

    def _say_why_not(self, why: str) -> None:
        """In the place of the quiet line, until something else is to be shown."""
        if why:
            self.noted.show_text(why, "strong", bold=True)

    def filled(self) -> FillPlan:
        """The form as it stands."""
        texts = {name: field.edit.text().strip() for name, field in self.fields.items()}
        return FillPlan(
            **{f.name: texts[f.name] for f in fields(FillPlan) if f.name in texts}, guided=self.guided.isChecked()
        )

    def begin(self) -> None:
        """The page comes to the front: the keyboard goes to the first field."""
        self._leaving = False
        self.objects.hide()
        self.fields["target"].edit.setFocus(Qt.FocusReason.TabFocusReason)

    def open_objects(self) -> None:
        """The list of targets."""
        if self.view is not None:
            self.objects.setGeometry(self.rect())
            self.objects.show_objects(self.view.too_low, self.view.form.target)

    def _on_object(self, name: str) -> None:
        self.fields["target"].edit.setText(name)
        self._close_objects()
        self._on_edited()

    def _close_objects(self) -> None:
        self.objects.hide()
        self.fields["exposure"].edit.setFocus(Qt.FocusReason.TabFocusReason)

    def _on_edited(self) -> None:
        self.pressed.emit(self.filled())

    def _on_return(self) -> None:
        self.focusNextChild()

    def _on_choice(self) -> None:
        self.chosen_plot = next((i for i, c in enumerate(self.choices) if c is self.sender()), 0)
        self._show_plot()

    def _on_use(self) -> None:
        """Take the plan over and go back; when it is still being computed, as soon as it is."""
        self.pressed.emit(self.filled())
        self._leaving = True
        self.pressed.emit(AdoptPlan())
        self._leave_when_ready()

    def _leave_when_ready(self) -> None:
        view = self.view
        if not self._leaving or view is None or not (view.ready or view.problem):
            return
        self._leaving = False
        if view.ready:
            self.left.emit()

    def _on_aim(self) -> None:
        if self.view is not None and self.view.aim is not None:
            self.pressed.emit(self.view.aim)

    # where things lie

    def _lay_out(self) -> None:
        """The form on the left, the answer on the right, the keys beneath both."""
        grid, left, right = QGridLayout(), QVBoxLayout(), QVBoxLayout()
        for number, field in enumerate(self.fields.values()):
            grid.addWidget(field, number // 2, number % 2)
        grid.setRowMinimumHeight(6, 8)
        grid.addWidget(self.list_button, 7, 0)
        grid.addWidget(self.guided, 7, 1)
        for part in (self.titled, grid, self.noted):
            left.addLayout(part) if isinstance(part, QGridLayout) else left.addWidget(part)
        left.setStretch(2, 1)
        choices, ends = QHBoxLayout(), QHBoxLayout()
        for choice in self.choices:
            choices.addWidget(choice, 1)
        for button in (self.use, self.aim, self.back):
            ends.addWidget(button, 1)
        right.addWidget(self.head)
        right.addWidget(self.second)
        right.addLayout(choices)
        right.addWidget(self.plot, 1)
        right.addWidget(self.facts)
        right.addLayout(ends)
        both = QHBoxLayout()
        both.addLayout(left, 36)
        both.addLayout(right, 64)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(both, 1)
        whole.addWidget(self.keys)
        self._both, self._grid, self._sides = both, grid, (left, right, choices, ends)

    def look_changed(self) -> None:
        px = self.look.px
        self._both.setContentsMargins(round(px(28)), round(px(12)), round(px(28)), 0)
        self._both.setSpacing(round(px(36)))
        self._grid.setHorizontalSpacing(round(px(14)))
        self._grid.setVerticalSpacing(round(px(8)))
        for side in self._sides:
            side.setSpacing(round(px(10)))
        for part, high in (
            (self.titled, 46), *((field, 66) for field in self.fields.values()), (self.list_button, 46),
            (self.guided, 46), (self.head, 46), (self.second, 34), *((choice, 42) for choice in self.choices),
            (self.facts, 5 * 42), (self.use, 76), (self.aim, 76), (self.back, 76), (self.keys, 38),
        ):  # fmt: skip
            part.setFixedHeight(round(px(high)))
        self.objects.setGeometry(self.rect())
