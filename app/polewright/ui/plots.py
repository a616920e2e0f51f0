"""The timeline as a plot, and the only importer of pyqtgraph (which takes a moment to load).

The vertical scale is the logarithm of the offset; the band is one sigma; the shaded part at the bottom is the
tolerance; two rows above the curve, one a screw, hold an upright stroke for each move of it.
"""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QMouseEvent, QResizeEvent
from PySide6.QtWidgets import QWidget

from polewright.core.screws.angles import Screw
from polewright.ui.look import TINY, Look
from polewright.ui.theme import Light, make_theme
from polewright.ui.view_model import Timeline

FLOOR_ARCMIN = 1.0 / 60.0
ROWS = {Screw.AZIMUTH: ("az", 25.0), Screw.ALTITUDE: ("alt", 10.0)}  # name, design pixels above the curve's room
STROKE_PX, ROWS_PX, APART_PX = 4.5, 34.0, 14.0  # half a stroke, both rows, two names at least
ANGLE_TICKS = ((600, "10°"), (60, "1°"), (10, "10′"), (1, "1′"), (1 / 6, "10″"), (1 / 60, "1″"))


class TimelinePlot(pg.PlotWidget):  # type: ignore[misc]  # the library has no types
    """Shows a `Timeline`; a click or drag on it asks for that moment (replay)."""

    scrubbed = Signal(float)
    timeline: Timeline | None = None  # the base class resizes itself before it is built

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent, background=None)
        self.look = Look(make_theme(Light.DAY))
        self.setAntialiasing(True)
        self.setMenuEnabled(False)
        self.hideButtons()
        self.setMouseEnabled(False, False)
        self.setFrameShape(self.Shape.NoFrame)
        item = self.getPlotItem()
        self._floor = pg.LinearRegionItem(values=(-9, 0), orientation="horizontal", movable=False)
        self._band = pg.FillBetweenItem(pg.PlotCurveItem(), pg.PlotCurveItem())
        self._line = pg.PlotCurveItem()
        self._position = pg.InfiniteLine(angle=90, movable=False)
        self._moves = pg.PlotCurveItem(connect="pairs")
        for part in (self._floor, self._band, self._line, self._moves, self._position):
            item.addItem(part)
        self.set_look(self.look)

    def set_look(self, look: Look) -> None:
        """Every colour of the plot comes from the theme."""
        self.look = look
        ratio = self.devicePixelRatioF()
        self.setBackground(look.colour("ground"))
        self._line.setPen(look.plot_pen("strong", 2.0, ratio))
        self._moves.setPen(look.plot_pen("ink", 1.6, ratio))
        self._band.setBrush(QBrush(look.between("ground", "ink", 0.28)))
        for edge in self._floor.lines:
            edge.setPen(look.plot_pen("shade", 1.0, ratio))
            edge.setHoverPen(look.plot_pen("shade", 1.0, ratio))
        self._floor.setBrush(QBrush(look.colour("floor")))
        self._floor.setHoverBrush(QBrush(look.colour("floor")))
        self._position.setPen(look.plot_pen("strong", 2.5, ratio))
        for name in ("left", "bottom"):
            axis = self.getAxis(name)
            axis.setPen(look.plot_pen("line", 1.0, ratio))
            axis.setTextPen(look.plot_pen("faint", 1.0, ratio))
            axis.setTickFont(look.font(TINY))
            axis.setStyle(tickLength=0, tickTextOffset=4)
        self.getAxis("left").setWidth(round(look.px(36)))
        self.getAxis("bottom").setHeight(max(22, round(look.px(20))))
        if self.timeline is not None:
            self.show_timeline(self.timeline)

    def show_timeline(self, timeline: Timeline) -> None:
        """Show another state."""
        self.timeline = timeline
        t = timeline.time_s
        total = np.log10(np.maximum(timeline.total_arcmin, FLOOR_ARCMIN))
        high = np.log10(np.maximum(timeline.total_arcmin + timeline.sigma_arcmin, FLOOR_ARCMIN))
        low = np.log10(np.maximum(timeline.total_arcmin - timeline.sigma_arcmin, FLOOR_ARCMIN))
        self._line.setData(t, total, connect="finite")
        self._band.setCurves(pg.PlotCurveItem(t, low), pg.PlotCurveItem(t, high))
        self._floor.setRegion((np.log10(FLOOR_ARCMIN) - 1, np.log10(timeline.tolerance_arcmin)))
        self._position.setVisible(timeline.position_s is not None)
        if timeline.position_s is not None:
            self._position.setValue(timeline.position_s)
        self._set_axes(t, low, high, timeline)

    def _set_axes(self, t: np.ndarray, low: np.ndarray, high: np.ndarray, timeline: Timeline) -> None:
        end = float(t[-1]) if t.size else 60.0
        end = max(60.0, end, timeline.position_s or 0.0)
        top = max(float(np.max(high)) if high.size else 1.0, np.log10(timeline.tolerance_arcmin)) + 0.35
        bottom = min(float(np.min(low)) if low.size else 0.0, np.log10(timeline.tolerance_arcmin)) - 0.35
        bottom = max(bottom, np.log10(FLOOR_ARCMIN) - 0.2)
        rows_px = self.look.px(ROWS_PX) if timeline.moves else 0.0
        plot_px = max(60.0, self.height() - self.getAxis("bottom").height()) - rows_px
        per_px = (top - bottom) / max(20.0, plot_px)
        rows = self._show_moves(timeline, top, per_px * self.look.px(1.0))
        high_end = top + rows_px * per_px
        self.getViewBox().setRange(QRectF(QPointF(0, bottom), QPointF(end, high_end)), padding=0.0)
        self.getAxis("left").setTicks([_apart(top, per_px * self.look.px(APART_PX)) + rows])
        step = next((s for s in (60, 120, 300, 600, 1200, 1800, 3600, 7200) if end / s <= 4.5), 14400)
        ticks = [(float(s), f"{s // 60} min") for s in range(step, int(end) + 1, step)]
        self.getAxis("bottom").setTicks([ticks])

    def _show_moves(self, timeline: Timeline, top: float, per_px: float) -> list[tuple[float, str]]:
        """A stroke for each move; returns where the rows lie and their names."""
        heights = {screw: top + px * per_px for screw, (_, px) in ROWS.items()}
        x = np.repeat([move.time_s for move in timeline.moves], 2)
        y = np.array([heights[move.screw] + side * STROKE_PX * per_px for move in timeline.moves for side in (-1, 1)])
        self._moves.setData(x, y)
        return [(heights[screw], name) for screw, (name, _) in ROWS.items()] if timeline.moves else []

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if self.timeline is not None:
            self.show_timeline(self.timeline)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._ask(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._ask(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Nothing to drag."""

    def _ask(self, event: QMouseEvent) -> None:
        if self.timeline is not None and self.timeline.position_s is not None:
            x = self.getViewBox().mapSceneToView(event.position()).x()
            self.scrubbed.emit(max(0.0, float(x)))


def _apart(top: float, apart: float) -> list[tuple[float, str]]:
    """The ticks below `top` that leave each other room; logarithms of arcminutes."""
    kept: list[tuple[float, str]] = []
    for arcmin, text in ANGLE_TICKS:
        height = float(np.log10(arcmin))
        if height < top - apart / 2 and (not kept or kept[-1][0] - height >= apart):
            kept.append((height, text))
    return kept
