"""Pictures of a night as it goes: one of each stage, at its most telling moment."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from PySide6.QtWidgets import QApplication

from polewright.core.night.advice import Turn
from polewright.core.night.states import NightState, Stage, Waiting, begun
from polewright.core.plan.tonight import Planned, TonightsPlan
from polewright.core.sky.timescales import julian_epoch_year
from polewright.practice.rehearsal import Rehearsal
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import InlineWorker
from polewright.services.magnetic import magnetic_declination
from polewright.services.measuring import Optics
from polewright.ui.driving.afterwards_shots import afterwards
from polewright.ui.driving.first_frame import learned
from polewright.ui.driving.first_scene import first_view
from polewright.ui.driving.form import Known
from polewright.ui.driving.plan_form import text_of
from polewright.ui.driving.planning import Planning
from polewright.ui.driving.snapshot import Snapshot, SnapshotMaker
from polewright.ui.driving.turn_shots import TurnShots
from polewright.ui.presenting.drift import drifting
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import present, stage_name
from polewright.ui.presenting.proof import score_page
from polewright.ui.shots import take_all
from polewright.ui.view_model import View

FIRST, FOLDER = "0-first", "~/frames"
PLAN = TonightsPlan(69.1, focal_length_mm=800.0, sub_s=300.0, hours=3.0, target="M81")


class NightShots:
    """Attributes: `views`, the views to be taken, by name; `turn`, those of one whole turn. Give it to a rehearsal,
    then call `take`."""

    def __init__(self) -> None:
        self.views: dict[str, View] = {}
        self._history = NightHistory()
        self.turn = TurnShots()
        self._night: Rehearsal | None = None
        self._maker: SnapshotMaker | None = None
        self._telling: dict[str, int] = {}
        self._correcting: NightState | None = None

    def watch(self, night: Rehearsal) -> None:
        """Look on from the beginning."""
        self._night = night
        self._maker = SnapshotMaker(night.engine, night.world.clock, Optics())
        night.engine.listen(self._on_change)

    def _on_change(self, engine: NightEngine) -> None:
        maker = self._maker
        assert maker is not None
        self._history.take(engine.state)
        if FIRST not in self.views and engine.last_measured is not None:
            self.views[FIRST] = first_view(learned(Known(folder=FOLDER), engine.last_measured.frame))
        snapshot = maker.take()
        if isinstance(snapshot.state, Waiting):
            return
        self.turn.see(snapshot.advice.reason, lambda: self._view(maker.with_picture() or snapshot))
        name, telling = _moment(snapshot)
        if telling < self._telling.get(name, 0):
            return
        if name in self.views and telling == self._telling[name] and name[0] in "34":
            return  # the first turn of a stage shows more of the way than the last
        self._telling[name] = telling
        if snapshot.state.stage is Stage.ROUGH:
            self._correcting = snapshot.state
        self.views[name] = self._view(maker.with_picture() or snapshot)

    def _view(self, snapshot: Snapshot) -> View:
        night, plan, news = self._night, snapshot.state.plan, snapshot.frame
        assert night is not None and plan is not None
        scenario = night.world.rig.night.scenario
        extras = Extras(
            now_s=snapshot.now_s,
            title=f"{scenario.place} · {scenario.camera.name}",
            news=news,
            history=self._history,
            magnetic=magnetic_declination(plan.site, julian_epoch_year(night.world.clock.utc())),
            arrivals=() if news is None or news.arrival is None else (news.arrival,),
        )
        return present(snapshot.state, snapshot.advice, extras)

    def take(self, folder: Path, sizes: Sequence[tuple[int, int]], night: Path) -> list[Path]:
        """Write all pictures, day and red light; last the score, and what the record in `night` is good for."""
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
        app = QApplication.instance() or QApplication(["polewright"])
        assert self._night is not None
        state: NightState = self._night.engine.state
        if state.aligned and "6-proof" in self.views:
            self.views["7-score"] = score_page(self.views["6-proof"], begun(state), self._night.true_offset())
        self._add_plan()
        self.views |= self.turn.views | afterwards(night)
        taken = take_all(folder, dict(sorted(self.views.items())), sizes)
        app.processEvents()
        return taken

    def _add_plan(self) -> None:
        """The page of the plan, with the error that there was during the rough correction."""
        state = self._correcting
        if state is None or state.plan is None:
            return
        planning = Planning(InlineWorker(), Optics(), _nothing, _adopt_nothing)
        planning.fill(text_of(PLAN), state.plan)
        self.views["8-plan"] = replace(self.views[_name(Stage.ROUGH)], plan=planning.view(state))


def _nothing() -> None:
    """No window waits for these pictures."""


def _adopt_nothing(planned: Planned) -> None:
    """The night that is pictured goes on as it was."""


def _moment(snapshot: Snapshot) -> tuple[str, int]:
    """The stage's name, and how telling this moment of it is."""
    state, advice = begun(snapshot.state), snapshot.advice
    if state.aligned:
        return ("6-proof", 0) if state.watching is None else ("6-watch", state.watching.vigil.frames)
    if drifting(state):
        reading = state.drift.reading if state.drift is not None else None
        return f"{_name(state.stage)}-drift", 0 if reading is None else 1 + len(reading.fields)
    name = _name(state.stage) + ("-turn" if state.stage is Stage.PROOF else "")
    if state.stage in (Stage.ROUGH, Stage.FINE):
        known = isinstance(advice.action, Turn) and state.rate(advice.action.screw) is not None
        return name, 2 if known else int(isinstance(advice.action, Turn))
    return name, 0 if state.trouble is None else -1


def _name(stage: Stage) -> str:
    """As the rail counts and calls it."""
    return f"{tuple(Stage).index(stage) + 1}-{stage_name(stage).lower()}"
