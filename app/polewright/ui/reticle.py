"""The well: the sky around the pole as seen from behind the mount, with the axis as a marker in it.

East is on the right in the north and on the left in the south. What never changes between readings (rings, floor,
labels) is kept as one picture; the rest is drawn over it on every frame of a motion.
"""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize
from PySide6.QtGui import QPainter, QPaintEvent, QPixmap
from PySide6.QtWidgets import QSizePolicy, QWidget

from polewright.ui.motion import GLIDE_S, PULSE_S, Glide, MotionDriver
from polewright.ui.panel import Panel
from polewright.ui.reticle_paint import Canvas, draw_ground, draw_marks
from polewright.ui.view_model import Reticle
from polewright.ui.well_scale import WellScale, scale_for

EMPTY = Reticle(tolerance_arcmin=2.0, tolerance_text="")


class ReticleWidget(Panel):
    """Shows a `Reticle`; `advance(seconds)` moves the marker on its way and is all the time it knows."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.reticle = EMPTY
        self.scale: WellScale = scale_for(EMPTY.tolerance_arcmin)
        self._glide = Glide((0.0, 0.0), (0.0, 0.0))
        self._pulse_age_s = PULSE_S
        self._ground: QPixmap | None = None
        self._labels_up = (False, False)  # of the rings, of the tolerance
        self._driver = MotionDriver(self.advance, self)
        self.animated = True
        self.marks = 1.0

    def sizeHint(self) -> QSize:
        return QSize(560, 560)

    def show_reticle(self, reticle: Reticle) -> None:
        """Show another state; the marker glides there, a fresh reading sends out one ring."""
        before, self.reticle = self.reticle, reticle
        if (reticle.tolerance_arcmin, reticle.tolerance_text, reticle.southern) != (
            before.tolerance_arcmin,
            before.tolerance_text,
            before.southern,
        ):
            self.scale = scale_for(reticle.tolerance_arcmin)
            self._ground = None
        if reticle.axis is not None:
            end = self.scale.place(reticle.axis.east_arcmin, reticle.axis.up_arcmin)
            known = before.axis is not None and self.animated
            low, left = end[1] < 0.0, (end[0] > 0.0 if reticle.southern else end[0] < 0.0)
            if (up := (low and left, low and not left)) != self._labels_up:
                self._labels_up, self._ground = up, None
            if end != self._glide.end:
                self._glide = self._glide.toward(end) if known else Glide(end, end)
        if reticle.reading_id != before.reading_id and reticle.axis is not None and self.animated:
            self._pulse_age_s = 0.0
        if self._moving():
            self._driver.wake()
        self.update()

    def advance(self, seconds: float) -> bool:
        """Let time pass; returns whether anything still moves."""
        self._glide = self._glide.later(seconds)
        self._pulse_age_s = min(PULSE_S, self._pulse_age_s + seconds)
        self.update()
        return self._moving()

    def settle(self) -> None:
        """Finish all motion at once."""
        self.advance(max(GLIDE_S, PULSE_S))
        self._driver.rest()

    @property
    def marker_px(self) -> QPointF:
        """Where the marker is drawn, in pixels of this widget."""
        return self._canvas().at(*self._glide.at)

    def look_changed(self) -> None:
        self._ground = None

    def paintEvent(self, event: QPaintEvent) -> None:
        ratio = self.devicePixelRatioF()
        wanted = QSize(round(self.width() * ratio), round(self.height() * ratio))
        if self._ground is None or self._ground.size() != wanted:
            self._ground = self._draw_ground(wanted, ratio)
        painter = QPainter(self)
        painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
        painter.drawPixmap(0, 0, self._ground)
        pulse = self._pulse_age_s / PULSE_S
        draw_marks(painter, self._canvas(), self.reticle, self._glide.at, pulse)
        painter.end()

    def _moving(self) -> bool:
        return self._glide.moving or self._pulse_age_s < PULSE_S

    def _canvas(self) -> Canvas:
        """Where the well lies in the widget."""
        box = QRectF(self.rect())
        radius_px = max(10.0, min(box.width(), box.height()) / 2.0 - self.look.px(26))
        return Canvas(self.look, self.scale, box.center(), radius_px, self.reticle.southern, self.marks)

    def _draw_ground(self, size: QSize, ratio: float) -> QPixmap:
        picture = QPixmap(size)
        picture.setDevicePixelRatio(ratio)
        picture.fill(self.look.colour("ground"))
        painter = QPainter(picture)
        painter.setRenderHints(QPainter.RenderHint.Antialiasing | QPainter.RenderHint.TextAntialiasing)
        draw_ground(painter, self._canvas(), self.reticle.tolerance_text, self._labels_up)
        painter.end()
        return picture
