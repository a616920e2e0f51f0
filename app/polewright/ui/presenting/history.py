"""The night so far as a curve: how far off the axis was, how sure that was, and when screws were turned."""

from __future__ import annotations

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.states import NightState, Waiting
from polewright.ui.view_model import MoveMark, Timeline

MOST_POINTS = 4000


class NightHistory:
    """Grows with every state it is shown; keeps at most 4000 points, then every second one of the older half.

    Attributes: `first_total_rad`, how far off the axis was at first, None before it was known; `aligned_s`, since
    when the alignment counts as proved or accepted, None while it does not.
    """

    def __init__(self) -> None:
        self._rows: list[tuple[float, float, float]] = []
        self._moves: list[MoveMark] = []
        self._turns_made = 0
        self._last: object = None
        self.first_total_rad: float | None = None
        self.aligned_s: float | None = None

    def take(self, state: NightState) -> None:
        """Another state of the same night."""
        if isinstance(state, Waiting):
            return
        if not state.aligned or self.aligned_s is None:
            self.aligned_s = state.now_s if state.aligned else None
        reading = state.rest.last
        mark = reading if reading is not None else state.capture.axis
        offset = state.offset
        if mark is not None and mark is not self._last and offset is not None:
            self._last = mark
            at_s = reading.at_s if reading is not None else state.now_s
            self._rows.append((at_s, offset.total_rad * ARCMIN_PER_RAD, offset.sigma_rad * ARCMIN_PER_RAD))
            if self.first_total_rad is None:
                self.first_total_rad = offset.total_rad
            if len(self._rows) > MOST_POINTS:
                half = MOST_POINTS // 2
                self._rows[:half] = self._rows[:half:2]
        handling = state.handling
        if handling.turns_made > self._turns_made and handling.last_turned is not None:
            self._moves.append(MoveMark(handling.closed_s, handling.last_turned))
        self._turns_made = handling.turns_made

    def timeline(self, tolerance_arcmin: float, position_s: float | None = None) -> Timeline | None:
        """For the window; None before there is anything to draw."""
        if not self._rows:
            return None
        columns = np.array(self._rows, dtype=float).T
        return Timeline(columns[0], columns[1], columns[2], tolerance_arcmin, tuple(self._moves), position_s)
