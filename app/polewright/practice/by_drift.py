"""A person who lets the stars drift: for the proof, or, with a RA axis that cannot be turned, to measure as well."""

from __future__ import annotations

from typing import Literal

from polewright.core.night.drifting.coach import free_side
from polewright.core.night.events import DriftAsked
from polewright.core.night.states import Running, Stage
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine

Way = Literal["proof", "all"]
REACTION_S = 3.0


class ByDrift:
    """Watches an engine and asks for the drift where it belongs; `way` "proof", or "all": the capture too."""

    def __init__(self, world: RehearsalWorld, engine: NightEngine, way: Way) -> None:
        self._world = world
        self._engine = engine
        self._stages = (Stage.PROOF,) if way == "proof" else (Stage.CAPTURE, Stage.PROOF)
        self._asking = False
        engine.listen(self._on_change)

    def _on_change(self, engine: NightEngine) -> None:
        if self._wanted() and not self._asking:
            self._asking = True
            self._world.clock.after(REACTION_S, self._ask)

    def _wanted(self) -> bool:
        state = self._engine.state
        watched = isinstance(state, Running) and state.drift is not None
        return state.stage in self._stages and not watched and not state.aligned

    def _ask(self) -> None:
        self._asking = False
        plan = self._engine.state.plan
        if self._wanted() and plan is not None:
            self._engine.post(DriftAsked(self._engine.now_s(), free_side(plan)))
