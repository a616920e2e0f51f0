"""The timeline as a plot, and the only importer of pyqtgraph (which takes a moment to load).

The vertical scale is the logarithm of the offset; the band is one sigma; the shaded part at the bottom is the
tolerance; an upright line with a letter marks each screw move.
"""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QBrush, QMouseEvent
from PySide6.QtWidgets import QWidget

from polewright.ui.look import TINY, Look
from polewright.ui.theme import Light, make_theme
from polewright.ui.view_model import Screw, Timeline

FLOOR_ARCMIN = 1.0 / 60.0
ANGLE_TICKS = ((600, "10°"), (60, "1°"), (10, "10′"), (1, "1′"), (1 / 6, "10″"), (1 / 60, "1″"))


class TimelinePlot(pg.PlotWidget):
    """Shows a `Timeline`; a click or drag on it asks for that moment (replay)."""

    scrubbed = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent, background=None)
        self.look = Look(make_theme(Light.DAY))
        self.setAntialiasing(True)
        self.setMenuEnabled(False)
        self.hideButtons()
        self.setMouseEnabled(False, False)
        self.setFrameShape(self.Shape.NoFrame)
        self.timeline: Timeline | None = None
        item = self.getPlotItem()
        self._floor = pg.LinearRegionItem(values=(-9, 0), orientation="horizontal", movable=False)
        self._band = pg.FillBetweenItem(pg.PlotCurveItem(), pg.PlotCurveItem())
        self._line = pg.PlotCurveItem()
        self._position = pg.InfiniteLine(angle=90, movable=False)
        for part in (self._floor, self._band, self._line, self._position):
            item.addItem(part)
        self._moves: list[pg.InfiniteLine] = []
        self.set_look(self.look)

    def set_look(self, look: Look) -> None:
        """Every colour of the plot comes from the theme."""
        self.look = look
        ratio = self.devicePixelRatioF()
        self.setBackground(look.colour("ground"))
        self._line.setPen(look.plot_pen("strong", 2.0, ratio))
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
        self._show_moves(timeline)
        self._set_axes(t, low, high, timeline)

    def _show_moves(self, timeline: Timeline) -> None:
        ratio = self.devicePixelRatioF()
        while len(self._moves) < len(timeline.moves):
            line = pg.InfiniteLine(angle=90, movable=False, label="", labelOpts={"position": 0.9})
            self.getPlotItem().addItem(line)
            self._moves.append(line)
        for i, line in enumerate(self._moves):
            line.setVisible(i < len(timeline.moves))
            if i < len(timeline.moves):
                move = timeline.moves[i]
                pen = self.look.plot_pen("shade", 1.4, ratio)
                pen.setStyle(Qt.PenStyle.DashLine if move.screw is Screw.ALTITUDE else Qt.PenStyle.SolidLine)
                line.setPen(pen)
                line.setHoverPen(pen)
                line.setValue(move.time_s)
                line.label.setFormat("az" if move.screw is Screw.AZIMUTH else "alt")
                line.label.setColor(self.look.colour("ink"))
                line.label.setFont(self.look.font(TINY))

    def _set_axes(self, t: np.ndarray, low: np.ndarray, high: np.ndarray, timeline: Timeline) -> None:
        end = float(t[-1]) if t.size else 60.0
        end = max(60.0, end, timeline.position_s or 0.0)
        top = max(float(np.max(high)) if high.size else 1.0, np.log10(timeline.tolerance_arcmin)) + 0.35
        bottom = min(float(np.min(total)) if (total := low).size else 0.0, np.log10(timeline.tolerance_arcmin)) - 0.35
        bottom = max(bottom, np.log10(FLOOR_ARCMIN) - 0.2)
        self.getViewBox().setRange(QRectF(QPointF(0, bottom), QPointF(end, top)), padding=0.0)
        self.getAxis("left").setTicks([[(float(np.log10(v)), text) for v, text in ANGLE_TICKS]])
        step = next((s for s in (60, 120, 300, 600, 1200, 1800, 3600, 7200) if end / s <= 4.5), 14400)
        ticks = [(float(s), f"{s // 60} min") for s in range(step, int(end) + 1, step)]
        self.getAxis("bottom").setTicks([ticks])

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
