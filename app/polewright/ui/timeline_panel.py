"""The place of the timeline: empty at first, the plot moves in once the window is on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QRectF, Signal
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QWidget

from polewright.ui.drawing import LEFT, draw_fitted
from polewright.ui.look import SMALL
from polewright.ui.panel import Panel
from polewright.ui.view_model import Timeline

if TYPE_CHECKING:
    from polewright.ui.plots import TimelinePlot


class TimelinePanel(Panel):
    """Holds a caption and, once loaded, the plot. `scrubbed` carries seconds."""

    scrubbed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.timeline: Timeline | None = None
        self.plot: TimelinePlot | None = None

    def load_plot(self) -> None:
        """Bring the plot in; takes a moment, so it waits until the window is visible."""
        if self.plot is not None:
            return
        from polewright.ui.plots import TimelinePlot

        self.plot = TimelinePlot(self)
        self.plot.set_look(self.look)
        self.plot.scrubbed.connect(self.scrubbed)
        if self.timeline is not None:
            self.plot.show_timeline(self.timeline)
        self._place()
        self.plot.show()

    def show_timeline(self, timeline: Timeline) -> None:
        """Show another state."""
        if timeline is self.timeline:
            return
        self.timeline = timeline
        if self.plot is not None:
            self.plot.show_timeline(timeline)

    def look_changed(self) -> None:
        self._place()

    def resizeEvent(self, event: object) -> None:
        self._place()

    def _place(self) -> None:
        if self.plot is not None:
            top = round(self.look.px(22))
            self.plot.setGeometry(0, top, self.width(), max(1, self.height() - top))

    def draw(self, painter: QPainter, box: QRectF) -> None:
        caption = QRectF(box.left(), box.top(), box.width(), self.look.px(22))
        draw_fitted(
            painter,
            "offset of the axis, by time",
            caption,
            self.look.px(SMALL),
            self.look.colour("faint"),
            flags=LEFT,
        )
