"""A rehearsal: a night whose mount is simulated, with screws to turn on the screen and a score at the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import assert_never

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night import advice as said
from polewright.core.night import events
from polewright.core.night.advice import Advice
from polewright.core.night.states import begun
from polewright.core.plan.tonight import TonightsPlan
from polewright.core.screws.angles import Screw
from polewright.core.sky.places import default_target
from polewright.practice.world import TrueOffset
from polewright.runtime.notices import Notice, fault_notice
from polewright.services.ports import Timer
from polewright.simulate.night import scenario_named
from polewright.ui import intents as want
from polewright.ui.driving import practice as hands
from polewright.ui.driving.desk import NightOrder
from polewright.ui.driving.means import Means
from polewright.ui.driving.night_scene import Begin, NightScene
from polewright.ui.driving.starting import night_started
from polewright.ui.presenting.proof import score_page
from polewright.ui.view_model import Rehearsal, View

TOLERANCE_ARCMIN = 0.5
LETS_GO_S = 1.2  # a screw that has not been turned for so long is let go, and the turn reported
HAND_ERROR = 0.08  # one sigma of a turn "as told", as a share of it
READING_ERROR = 0.03  # the same of a turn read off the head of the screw
REACTION_S = 0.6


@dataclass(frozen=True)
class RehearsalPlan:
    """Which simulated night, in which empty folder."""

    scenario: str
    seed: int
    folder: Path

    @property
    def frames(self) -> Path:
        return self.folder / "frames"


class RehearsalScene(NightScene):
    """The simulated hands report what they did, as a person would."""

    def __init__(self, means: Means, plan: RehearsalPlan, order: NightOrder, changed: Callable[[], None]) -> None:
        scenario = scenario_named(plan.scenario)
        self.plan = plan
        self._turned = dict.fromkeys(Screw, 0.0)
        self._held = dict.fromkeys(Screw, 0.0)
        self._axis_deg = 0.0
        self._busy = 0
        self._lets_go: Timer | None = None
        self._truth: TrueOffset | None = None
        self._truth_asked = False
        self._broken = False
        self._rng = np.random.default_rng([plan.seed, 31])
        site = scenario.site
        begin = Begin(
            f"Rehearsal · {scenario.place}, {plan.scenario}",
            plan.frames,
            night_started(site, default_target(site), TOLERANCE_ARCMIN / ARCMIN_PER_RAD),
        )
        super().__init__(means, order, begin, changed)
        plan.frames.mkdir(parents=True, exist_ok=True)
        self.desk.watch(plan.frames)
        self.practice = means.make_practice(plan.scenario, plan.seed, plan.frames, self.desk, self._on_failed)

    # hands

    def act(self, intent: want.Intent) -> bool:
        if isinstance(intent, want.OfTheRehearsal):
            self._do_by_hand(intent)
            self._changed()
            return True
        if isinstance(intent, events.BaseLocked):
            self.practice.ask(hands.tighten_locks)
        return super().act(intent)

    def _do_by_hand(self, intent: want.OfTheRehearsal) -> None:
        match intent:
            case want.TurnRehearsalScrew():
                self._turn_by_hand(intent.screw, intent.turns)
            case want.RotateRehearsalAxis():
                self._rotate(intent.degrees)
            case want.DoAsTold():
                if self.snapshot is not None and not self._busy:
                    self._do(self.snapshot.advice)
            case _:
                assert_never(intent)

    def _turn_by_hand(self, screw: Screw, turns: float) -> None:
        """Small turns follow each other; when the hand lets go, their sum is reported."""
        self._turned[screw] += turns
        self._held[screw] += turns
        self.practice.ask(hands.turn_screw(screw.value, turns), self._on_turning)

    def _on_turning(self, seconds: float) -> None:
        if self._lets_go is not None:
            self._lets_go.cancel()
        self._lets_go = self._means.scheduler.after(seconds + LETS_GO_S, self._let_go)

    def _let_go(self) -> None:
        self._lets_go = None
        for screw, turns in self._held.items():
            if turns:
                self._report(screw, turns)
            self._held[screw] = 0.0

    def _report(self, screw: Screw, turns: float) -> None:
        self.desk.click(events.ScrewTurned(want.NOW, screw, turns))

    def _rotate(self, west_deg: float) -> None:
        self._axis_deg += west_deg
        self._hold(hands.rotate_axis(west_deg), lambda: None)

    def _do(self, advice: Advice) -> None:
        """What the instruction asks for, by simulated hands."""
        action = advice.action
        if isinstance(action, said.Turn):
            screw, turns = action.screw, action.turns
            really = turns * (1.0 + float(np.clip(self._rng.normal(0.0, HAND_ERROR), -0.2, 0.2)))
            self._turned[screw] += really
            seen = really * (1.0 + float(self._rng.normal(0.0, READING_ERROR)))
            self._hold(hands.turn_screw(screw.value, really), lambda: self._report(screw, seen))
        elif isinstance(action, said.RotateAxis):
            self._rotate(action.west_deg)
        elif isinstance(action, said.Point):
            self._hold(hands.point_to(action.hour_angle_h, action.declination_deg), lambda: None)
        elif isinstance(action, said.Lock):
            self._hold(hands.tighten_locks, lambda: self.desk.click(events.BaseLocked(want.NOW)))
        elif isinstance(action, said.Expose):
            self._hold(hands.expose(action.factor), lambda: None)
        elif isinstance(action, said.TightenClutch):
            self._hold(hands.tighten_clutch, lambda: self.desk.click(events.RestartAsked(want.NOW)))
        elif isinstance(action, said.StartAgain):
            self._hold(
                lambda world: hands.point_camera(world, hands.EAST_AGAIN_H),
                lambda: self.desk.click(events.RestartAsked(want.NOW)),
            )
        else:
            self._say(action)

    def _say(self, action: said.Action) -> None:
        clicks: dict[type, Callable[[float], events.AnyEvent]] = {
            said.SetUp: events.NextAsked,
            said.GoOn: events.NextAsked,
            said.GoBack: events.BackAsked,
            said.Unlock: events.BaseUnlocked,
            said.Resume: events.ResumeAsked,
        }
        click = clicks.get(type(action))
        if click is not None:
            self.desk.click(click(want.NOW))

    def _hold(self, deed: hands.Deed, afterwards: Callable[[], None]) -> None:
        """One deed at a time; what is said about it comes when it is done."""
        self._busy += 1

        def begun(seconds: float) -> None:
            self._means.scheduler.after(seconds + REACTION_S, done)

        def done() -> None:
            self._busy -= 1
            afterwards()
            self._changed()

        self.practice.ask(deed, begun)

    def keep_plan(self, plan: TonightsPlan) -> None:
        """A rehearsal leaves nothing behind."""

    # the end

    def view(self) -> View | None:
        view = super().view()
        if view is None or self.snapshot is None or not self.over:
            self._truth, self._truth_asked = None, False
            return view
        if not self._truth_asked:
            self._truth_asked = True
            self.practice.ask(hands.truth(self.snapshot.state.plan.target), self._on_truth)  # type: ignore[union-attr]
        if self._truth is None:
            return view
        return score_page(view, begun(self.snapshot.state), self._truth)

    def _on_truth(self, truth: TrueOffset) -> None:
        self._truth = truth
        self._changed()

    def rehearsal(self) -> Rehearsal | None:
        return Rehearsal(
            self._turned[Screw.AZIMUTH],
            self._turned[Screw.ALTITUDE],
            self._axis_deg,
            self._busy > 0,
            self.plan.scenario,
        )

    def _on_failed(self, problem: Exception) -> None:
        self.notify(
            Notice("rehearsal", f"The simulated camera stopped: {problem}", "Make room on the disk, then begin anew.")
            if isinstance(problem, OSError)
            else fault_notice("simulating", problem)
        )

    def close(self) -> list[str]:
        if self._lets_go is not None:
            self._lets_go.cancel()
        self.practice.stop()
        left = super().close()
        self._means.discard(self.plan.folder)
        return left
