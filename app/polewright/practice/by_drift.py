"""A person who lets the stars drift: for the proof, or, with a RA axis that cannot be turned, to measure as well."""

from __future__ import annotations

from typing import Literal

from polewright.core.night.drifting.places import free_side
from polewright.core.night.events import NOW, DriftAsked
from polewright.core.night.states import Running, Stage
from polewright.practice.hand import Seat
from polewright.runtime.engine import NightEngine

Way = Literal["proof", "all"]
REACTION_S = 3.0


class ByDrift:
    """Watches the screen and asks for the drift where it belongs; `way` "proof", or "all": the capture too."""

    def __init__(self, seat: Seat, way: Way) -> None:
        self._seat = seat
        self._stages = (Stage.PROOF,) if way == "proof" else (Stage.CAPTURE, Stage.PROOF)
        self._asking = False
        seat.engine.listen(self._on_change)

    def _on_change(self, _engine: NightEngine) -> None:
        if self._wanted() and not self._asking:
            self._asking = True
            self._seat.after(REACTION_S, self._ask)

    def _wanted(self) -> bool:
        state = self._seat.look().state
        watched = isinstance(state, Running) and state.drift is not None
        return state.stage in self._stages and not watched and not state.aligned

    def _ask(self) -> None:
        self._asking = False
        plan = self._seat.look().state.plan
        if self._wanted() and plan is not None:
            self._seat.press(DriftAsked(NOW, free_side(plan), ask=True))
