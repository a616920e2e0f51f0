"""A rehearsal: a night whose mount is simulated, with screws to turn on the screen and a score at the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import assert_never

import numpy as np

from polewright.core.night import events
from polewright.core.night.advice import Action, RotateAxis, Turn
from polewright.core.night.events import NOW
from polewright.core.night.states import begun
from polewright.core.plan.tonight import TonightsPlan
from polewright.core.screws.angles import Screw
from polewright.core.sky.places import default_target
from polewright.practice import deeds
from polewright.practice.deeds import Deed, Done
from polewright.practice.fingers import CAREFUL, Fingers
from polewright.practice.world import TrueOffset
from polewright.runtime.notices import Notice, fault_notice
from polewright.runtime.starting import night_started
from polewright.services.ports import Timer
from polewright.simulate.night import scenario_named
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui import intents as want
from polewright.ui.driving.desk import NightOrder
from polewright.ui.driving.means import Means
from polewright.ui.driving.night_scene import Begin, NightScene
from polewright.ui.presenting.proof import score_page
from polewright.ui.view_model import Rehearsal, View
from polewright.words import window as words

LETS_GO_S = 0.2  # a screw that has not been turned for so long is let go, and the turn reported
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
        self._fingers = Fingers(CAREFUL, np.random.default_rng([plan.seed, 31]))
        site = scenario.site
        begin = Begin(
            f"Rehearsal · {scenario.place}, {plan.scenario}",
            plan.frames,
            night_started(site, default_target(site), walking=True),
        )
        super().__init__(means, order, begin, changed)
        plan.frames.mkdir(parents=True, exist_ok=True)
        self.desk.watch(plan.frames)
        self.practice = means.make_practice(plan.scenario, plan.seed, plan.frames, self._on_failed)

    def would_be_missed(self, closing: bool) -> bool:
        """A rehearsal can be begun again at any time."""
        return False

    # hands

    def act(self, intent: want.Intent) -> bool:
        if isinstance(intent, want.OfTheRehearsal):
            self._do_by_hand(intent)
            self._changed()
            return True
        if isinstance(intent, events.BaseLocked):
            self.practice.ask(deeds.tighten_locks())
        return super().act(intent)

    def _do_by_hand(self, intent: want.OfTheRehearsal) -> None:
        match intent:
            case want.TurnRehearsalScrew():
                self._turn_by_hand(intent.screw, intent.turns)
            case want.RotateRehearsalAxis():
                self._rotate(intent.degrees)
            case want.DoAsTold():
                if self.snapshot is not None and not self._busy:
                    self._do(self.snapshot.advice.action)
            case _:
                assert_never(intent)

    def _turn_by_hand(self, screw: Screw, turns: float) -> None:
        """Small turns follow each other; when the hand lets go, their sum is reported."""
        self._turned[screw] += turns
        self._held[screw] += turns
        self.practice.ask(deeds.turn_screw(screw, turns), self._on_turning)

    def _on_turning(self, handled: Done) -> None:
        if self._lets_go is not None:
            self._lets_go.cancel()
        self._lets_go = self._means.scheduler.after(handled.moving_s + LETS_GO_S, self._let_go)

    def _let_go(self) -> None:
        self._lets_go = None
        for screw, turns in self._held.items():
            if turns:
                self._report(screw, turns)
            self._held[screw] = 0.0

    def _report(self, screw: Screw, turns: float) -> None:
        self.desk.click(events.ScrewTurned(NOW, screw, turns))

    def _rotate(self, west_deg: float) -> None:
        self._axis_deg += west_deg
        self._hold(deeds.rotate_axis(west_deg), lambda: None)

    def _do(self, action: Action) -> None:
        """What the instruction asks for, by simulated hands; what they say of it comes when it is done."""
        answer = self._fingers.answer(action)
        if answer is None:
            return
        if isinstance(action, Turn):
            self._turned[action.screw] += answer.moved
        elif isinstance(action, RotateAxis):
            self._axis_deg += action.west_deg
        says = answer.says
        self._hold(answer.deed, lambda: None if says is None else self.desk.click(says))

    def _hold(self, deed: Deed, afterwards: Callable[[], None]) -> None:
        """One deed at a time; its words come when the mount stands still again."""
        self._busy += 1

        def begun(handled: Done) -> None:
            if handled.moving_s:
                self._means.scheduler.after(handled.moving_s + REACTION_S, done)
            else:
                done()

        def done() -> None:
            self._busy -= 1
            afterwards()
            self._changed()

        self.practice.ask(deed, begun)

    def keep_clock(self, ahead_s: float) -> None:
        """No rig of the person's was used."""

    def keep_plan(self, plan: TonightsPlan) -> None:
        """A rehearsal leaves nothing behind."""

    # the end

    def view(self) -> View | None:
        view = super().view()
        view = view if view is None else replace(view, rehearsed=self.plan.scenario)
        if view is None or self.snapshot is None or not self.over:
            self._truth, self._truth_asked = None, False
            return view
        if not self._truth_asked:
            self._truth_asked = True
            target = begun(self.snapshot.state).plan.target
            self.practice.ask(lambda world: world.true_offset(target), self._on_truth)
        if self._truth is None:
            return view
        return score_page(view, begun(self.snapshot.state), self._truth, _after(self.plan.scenario))

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
            Notice("rehearsal", f"The simulated camera stopped: {problem}", words.MAKE_ROOM)
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


def _after(scenario: str) -> str:
    """The next night of the list; "" for a night that is not in it."""
    names = list(SCENARIOS)
    return names[(names.index(scenario) + 1) % len(names)] if scenario in names else ""
