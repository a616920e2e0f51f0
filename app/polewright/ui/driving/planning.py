"""Tonight's plan behind its page: the form as it is typed, the simulation as a job, and taking the plan over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from polewright.core.errors import SettingsError
from polewright.core.model import Site, TargetPole
from polewright.core.night.states import NightPlan, NightState, Waiting
from polewright.core.night.witness import told_offset
from polewright.core.offset import Offset
from polewright.core.plan.study import study
from polewright.core.plan.tolerance import TargetTooLow, needed_accuracy, unreachable
from polewright.core.plan.tonight import Planned, TonightsPlan, usual_plan
from polewright.runtime.jobs import Asks, Done
from polewright.runtime.notices import Notice
from polewright.services.measuring import Optics
from polewright.ui import intents as want
from polewright.ui.driving.plan_form import filled, plan_of, text_of
from polewright.ui.driving.rig import keep_in_rig
from polewright.ui.presenting.plan import PlanWork, plan_page
from polewright.ui.view_model import PlanView
from polewright.words import window as words

Told = tuple[PlanWork, NightPlan | None, Offset | None]  # what the page depends on
NEEDS, STUDY, KEEPING = "what the plan needs", "the plan from all sides", "keeping the plan"


def planned_for(plan: TonightsPlan, site: Site, target: TargetPole) -> Planned | TargetTooLow:
    """The plan with what it needs at this site; a quarter of a second of computing."""
    needs = needed_accuracy(plan.at(site), target)
    return needs if isinstance(needs, TargetTooLow) else Planned(plan, needs)


class Planning:
    """Attributes: `work`, None until the page was asked for."""

    def __init__(
        self, worker: Asks, optics: Optics, changed: Callable[[], None], adopt: Callable[[Planned], None]
    ) -> None:
        self._worker = worker
        self._optics = optics
        self._changed = changed
        self._adopt = adopt
        self._wanted = False
        self._target: TargetPole | None = None
        self.work: PlanWork | None = None
        self._page: tuple[Told, PlanView | None] | None = None

    def use_optics(self, optics: Optics) -> None:
        """What a first plan begins with."""
        self._optics = optics

    def show(self, night: NightPlan) -> None:
        """The page was asked for: begin with the plan that holds, or with a usual one for this camera."""
        if self.work is None:
            plan = night.imaging.plan if night.imaging is not None else self._first(night.site)
            self._begin(PlanWork(text_of(plan)), night)

    def fill(self, form: want.FillPlan, night: NightPlan) -> None:
        """The person typed something."""
        if self.work is None or form != self.work.form:
            before = form if self.work is None else self.work.form
            self._begin(PlanWork(filled(before, form)), night)

    def follow(self, night: NightPlan | None) -> None:
        """The night went on: another target pole is another study."""
        if self.work is not None and night is not None and night.target is not self._target:
            self._begin(PlanWork(self.work.form), night)

    def adopt(self) -> None:
        """Make this plan tonight's, as soon as it is known what it needs."""
        if self.work is None or self.work.plan is None:
            return
        if self.work.planned is None:
            self._wanted = self.work.answer is None
        else:
            self._wanted = False
            self._adopt(self.work.planned)

    def view(self, state: NightState) -> PlanView | None:
        """The page; None until it was asked for. The same page again while nothing that it tells has changed."""
        if self.work is None or isinstance(state, Waiting):
            return None
        told = (self.work, state.plan, told_offset(state))
        if self._page is None or self._page[0] != told:
            self._page = told, plan_page(state, self.work)
        return self._page[1]

    def close(self) -> None:
        """Nobody waits for an answer any more."""
        self._worker.forget(NEEDS)
        self._worker.forget(STUDY)

    def _first(self, site: Site) -> TonightsPlan:
        plan = usual_plan(site)
        focal, pixel = self._optics.focal_length_mm, self._optics.pixel_size_um
        return replace(plan, focal_length_mm=focal or plan.focal_length_mm, pixel_um=pixel or plan.pixel_um)

    def _begin(self, work: PlanWork, night: NightPlan) -> None:
        site, target = night.site, night.target
        self._target, self._wanted = target, False
        self.close()
        plan = plan_of(work.form)
        if isinstance(plan, str):
            self.work = replace(work, problem=plan)
            return
        self.work = replace(work, plan=plan)
        self._worker.ask(NEEDS, lambda: planned_for(plan, site, target), self._on_needs)
        if not isinstance(self.work.answer, TargetTooLow):
            self._worker.ask(STUDY, lambda: _study(plan, site, target), self._on_study)

    def _on_needs(self, done: Done) -> None:
        found = done.result()
        if self.work is not None:
            self.work = replace(self.work, answer=found)
            if self._wanted:
                self.adopt()
            self._changed()

    def _on_study(self, done: Done) -> None:
        found = done.result()
        if self.work is not None:
            self.work = replace(self.work, study=found)
            self._changed()


def _study(plan: TonightsPlan, site: Site, target: TargetPole) -> object:
    """The tables; None when the target is too low."""
    there = plan.at(site)
    return None if unreachable(there) is not None else study(there, target)


def keep_with_rig(
    worker: Asks, config: Path, rig: tuple[str, Optics], tell: Callable[[Notice], None], **changed: Any
) -> None:
    """Remember members of its profile with the rig; a disk that refuses costs only the memory."""

    def kept(done: Done) -> None:
        if isinstance(done.problem, SettingsError):
            tell(Notice(KEEPING, str(done.problem), words.ONLY_TONIGHT))
        elif done.problem is not None:
            raise done.problem

    worker.ask(KEEPING, lambda: keep_in_rig(config, *rig, **changed), kept)
