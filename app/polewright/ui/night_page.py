"""The page of a running night: everything that one `View` says, laid out by `arrange`."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.core.screws.angles import Screw
from polewright.ui.arrange import Box, Wants, arrange
from polewright.ui.buttons import ButtonRow, PlainButton
from polewright.ui.capture_dial import CaptureDial
from polewright.ui.drift_panel import DriftPanel
from polewright.ui.facts_panel import AfterPanel, FactsPanel
from polewright.ui.frame_panel import FramePanel
from polewright.ui.glance import glance
from polewright.ui.intents import Scrub
from polewright.ui.keys_bar import KeysBar
from polewright.ui.knobs import KnobPanel
from polewright.ui.look import GLOVE_PX
from polewright.ui.notices import TroublePanel
from polewright.ui.panel import FullPanel, Panel
from polewright.ui.rail import StageRail
from polewright.ui.reticle import ReticleWidget
from polewright.ui.stand_dials import StandDials
from polewright.ui.strips import StripWidget
from polewright.ui.timeline_panel import TimelinePanel
from polewright.ui.transport import Transport
from polewright.ui.view_model import Fact, Page, View, Weight
from polewright.ui.words import Words

READING_MARKS, READING_AFTER = 1.75, 1.3
GLOVE_UNIT = 1.35  # the unit of a window of 1920 x 1080, for which GLOVE_PX is 15 mm


class NightPage(FullPanel):
    """Owns the parts and gives each its share of a view. Emits `pressed` with an intent."""

    pressed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.view: View | None = None
        self.reading = False
        self.rail = StageRail(self)
        self.menu_button = PlainButton("Menu", "M", parent=self)
        self.well = ReticleWidget(self)
        self.stand = StandDials(self)
        self.capture = CaptureDial(self)
        self.drift = DriftPanel(self)
        self.azimuth = StripWidget(Screw.AZIMUTH, self)
        self.altitude = StripWidget(Screw.ALTITUDE, self)
        self.after = AfterPanel(self)
        self.words = Words(self)
        self.trouble = TroublePanel(self)
        self.primary = ButtonRow(Weight.PRIMARY, self)
        self.plain = ButtonRow(Weight.PLAIN, self)
        self.numbers = FactsPanel(self)
        self.frame = FramePanel(self)
        self.timeline = TimelinePanel(self)
        self.knobs = KnobPanel(self)
        self.transport = Transport(self)
        self.keys = KeysBar(self)
        for part in (self.primary, self.plain, self.trouble, self.knobs, self.transport, self.keys):
            part.pressed.connect(self.pressed)
        self.timeline.scrubbed.connect(self._on_scrubbed)
        self.parts: tuple[Panel, ...] = (
            self.rail, self.well, self.stand, self.capture, self.drift, self.azimuth, self.altitude, self.after,
            self.words, self.trouble, self.primary, self.plain, self.numbers, self.frame, self.timeline, self.keys,
            self.knobs, self.transport,
        )  # fmt: skip

    def show_view(self, view: View, reading: bool) -> None:
        """Show a view; in the reading mode only the well, its strips and the sentence."""
        again = self.view is None or self._wants(self.view, self.reading) != self._wants(view, reading)
        again = again or self.view is None or (self.view.drift is None) != (view.drift is None)
        self.view, self.reading = view, reading
        self.rail.show_steps(view.rail, view.title)
        self.words.show_instruction(view.instruction, reading, glance(view))
        self.after.show_facts(view.after, READING_AFTER if reading else 1.0)
        self.well.marks = READING_MARKS if reading else 1.0
        self.well.show_reticle(view.reticle)
        if view.orientation is not None:
            self.stand.show_orientation(view.orientation)
        if view.capture is not None:
            self.capture.show_capture(view.capture)
        if view.drift is not None:
            self.drift.show_drift(view.drift)
        for strip in view.strips:
            widget = self.azimuth if strip.screw is Screw.AZIMUTH else self.altitude
            widget.show_strip(strip, view.reticle.southern, READING_MARKS if reading else 1.0)
        self.trouble.show_trouble(view.trouble)
        self.primary.show_actions(view.actions)
        self.plain.show_actions(view.actions)
        self.numbers.show_facts(_facts(view))
        self.frame.show_picture(view.frame)
        if view.timeline is not None:
            self.timeline.show_timeline(view.timeline)
        if view.rehearsal is not None:
            self.knobs.show_rehearsal(view.rehearsal)
        if view.replay is not None:
            self.transport.show_replay(view.replay)
        self.keys.show_work(view.work)
        if again:
            self.place()

    def _on_scrubbed(self, seconds: float) -> None:
        self.pressed.emit(Scrub(seconds))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.place()

    def place(self) -> None:
        """Give every part its box; parts without one are hidden."""
        if self.view is None:
            return
        look = self.look
        boxes = arrange(
            self.width(),
            self.height(),
            self._wants(self.view, self.reading),
            GLOVE_PX * max(1.0, look.unit / GLOVE_UNIT),
        )
        left = self._left_part()
        named: dict[str, Panel] = {
            "rail": self.rail, "keys": self.keys, "azimuth": self.azimuth, "altitude": self.altitude,
            "after": self.after, "words": self.words, "trouble": self.trouble, "primary": self.primary,
            "plain": self.plain, "screws": self.knobs, "transport": self.transport,
            "numbers": self.numbers, "frame": self.frame, "timeline": self.timeline, "well": left,
        }  # fmt: skip
        for part in self.parts:
            if part not in [named.get(name) for name in boxes]:
                part.hide()
        for name, box in boxes.items():
            if name in named:
                _put(named[name], box)
        menu_w, menu_h = look.px(110), look.px(42)
        self.menu_button.setGeometry(
            round(self.width() - menu_w - look.px(12)), round(look.px(6)), round(menu_w), round(menu_h)
        )
        self.menu_button.setVisible(not self.reading)
        self.menu_button.raise_()
        self.rail.reserved_right = menu_w + look.px(12)

    def _left_part(self) -> Panel:
        assert self.view is not None
        if self.view.page is Page.ORIENTATION and self.view.orientation is not None:
            return self.stand
        if self.view.drift is not None:
            return self.drift
        if self.view.page is Page.CAPTURE and self.view.capture is not None:
            return self.capture
        return self.well

    def _wants(self, view: View, reading: bool) -> Wants:
        weights = [a.weight for a in view.actions]
        return Wants(
            strips=bool(view.strips),
            primary=weights.count(Weight.PRIMARY),
            plain=weights.count(Weight.PLAIN),
            numbers=len(_facts(view)),
            timeline=view.timeline is not None,
            pictures=view.frame is not None or view.timeline is not None,
            transport=view.replay is not None,
            trouble=view.trouble is not None,
            screws=view.rehearsal is not None,
            reading=reading,
            tall_rows=view.page is Page.ORIENTATION,
            after=bool(view.after),
        )


def _facts(view: View) -> tuple[Fact, ...]:
    if view.proof is not None:
        return view.proof.facts
    if view.orientation is not None and view.page is Page.ORIENTATION:
        return view.orientation.facts
    return view.numbers


def _put(part: QWidget, box: Box) -> None:
    x, y = round(box.x), round(box.y)
    part.setGeometry(x, y, round(box.x + box.w) - x, round(box.y + box.h) - y)
    part.show()
