"""The page of tonight's plan: the form on the left; on the right what it needs, a plot of the blur, the numbers."""

from __future__ import annotations

from dataclasses import fields

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QFont, QPainter, QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.ui.arrange import unit_for
from polewright.ui.blur_plot import BlurPlotPanel
from polewright.ui.buttons import PlainButton
from polewright.ui.drawing import LEFT, LEFT_TOP, WRAP, draw_fitted
from polewright.ui.facts_panel import FactsPanel
from polewright.ui.first_page import Field
from polewright.ui.intents import AdoptPlan, FillPlan, Intent, ShowKeys
from polewright.ui.keys import BEST_POLE, GUIDED, HELP, PLAN_KEYS, PLOTS, TARGETS
from polewright.ui.keys_bar import KeysBar
from polewright.ui.look import BIG, BODY, SMALL, Look
from polewright.ui.object_list import ObjectList
from polewright.ui.panel import Panel
from polewright.ui.view_model import PlanView

ROWS = (
    ("target", "Target", ""), ("declination", "Declination", "°"),
    ("exposure", "Sub-exposure", "s"), ("hours", "Total time", "h"),
    ("focal_length", "Focal length", "mm"), ("pixel_size", "Pixel size", "µm"),
    ("sensor", "Sensor", "px"), ("binning", "Binning", ""),
    ("guide_offset", "Guide star off centre", "°"), ("first_hour_angle", "First hour angle", "h"),
    ("seeing", "Seeing", "″"), ("allowed_blur", "Allowed blur", "px"),
)  # fmt: skip
PLOT_LABELS = ("By exposure", "By error", "By declination")


class PlanPage(Panel):
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
        self.fields["guide_offset"].setEnabled(view.form.guided)
        self.facts.show_facts(view.facts)
        self.use.setEnabled(not view.problem)
        self.aim.setText(view.aim_text or "Best pole in use")
        self.aim.setEnabled(bool(view.aim_text))
        self._show_plot()
        self.update()
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
            if buttons[name].isEnabled():
                buttons[name].click()
            return None
        return ShowKeys() if name == HELP else None

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

    def set_look(self, look: Look) -> None:
        look = Look(look.theme, unit_for(self.width(), self.height()))
        super().set_look(look)
        panels: tuple[Panel, ...] = (self.plot, self.facts, self.keys, self.objects)
        parts: tuple[Field | PlainButton | Panel, ...] = (*self.fields.values(), *self.buttons, *panels)
        for part in parts:
            part.set_look(look)
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.set_look(self.look)

    def _columns(self) -> tuple[float, float, float]:
        """Width of the form, left edge and width of the answer."""
        px = self.look.px
        form = self.width() * 0.36 - px(28)
        right = px(28) + form + px(36)
        return form, right, self.width() - right - px(28)

    def _bottom(self) -> float:
        """Upper edge of the large buttons."""
        return self.height() - self.look.px(38 + 14 + 76)

    def _place(self) -> None:
        px = self.look.px
        form, right, wide = self._columns()
        gap, top, bottom = px(14), px(70), self._bottom()
        half, high = (form - gap) / 2, px(66)
        step = min(px(84), (bottom - px(54) - px(70) - top) / 6)
        for i, field in enumerate(self.fields.values()):
            x, y = px(28) + (i % 2) * (half + gap), top + (i // 2) * step
            field.setGeometry(round(x), round(y), round(half), round(high))
        y = top + 6 * step + px(4)
        for i, button in enumerate((self.list_button, self.guided)):
            button.setGeometry(round(px(28) + i * (half + gap)), round(y), round(half), round(px(46)))
        self._place_answer(right, wide, bottom)
        third = (wide - 2 * gap) / 3
        for i, button in enumerate((self.use, self.aim, self.back)):
            button.setGeometry(round(right + i * (third + gap)), round(bottom), round(third), round(px(76)))
        self.keys.setGeometry(0, round(self.height() - px(38)), self.width(), round(px(38)))
        self.objects.setGeometry(self.rect())

    def _place_answer(self, right: float, wide: float, bottom: float) -> None:
        px = self.look.px
        gap, third = px(14), (wide - 2 * px(14)) / 3
        for i, choice in enumerate(self.choices):
            choice.setGeometry(round(right + i * (third + gap)), round(px(104)), round(third), round(px(42)))
        facts = px(5 * 42)
        self.facts.setGeometry(round(right), round(bottom - px(12) - facts), round(wide), round(facts))
        top = px(152)
        self.plot.setGeometry(round(right), round(top), round(wide), round(bottom - px(20) - facts - top))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        look, view = self.look, self.view
        px = look.px
        form, right, wide = self._columns()
        title = QRectF(px(28), px(14), form, px(46))
        draw_fitted(painter, "Tonight's plan", title, px(BIG), look.colour("strong"), QFont.Weight.DemiBold, LEFT)
        if view is None:
            return
        low = self.list_button.geometry().bottom()
        note = QRectF(px(28), low + px(8), form, self.keys.geometry().top() - low - px(14))
        head = QRectF(right, px(10), wide, px(50))
        said = view.problem or view.headline
        draw_fitted(painter, said, head, px(BIG * 1.2), look.colour("strong"), QFont.Weight.DemiBold, LEFT | WRAP)
        second = QRectF(right, px(62), wide, px(34))
        draw_fitted(painter, view.cure or view.status, second, px(BODY), look.colour("ink"), flags=LEFT | WRAP)
        draw_fitted(painter, view.target_note, note, px(SMALL), look.colour("faint"), flags=LEFT_TOP | WRAP)
