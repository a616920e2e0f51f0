"""A running night in the window: its desk, its history, and what the person does to it."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from typing import Any, assert_never

from polewright.core.errors import PolewrightError
from polewright.core.night.advice import Advice, Errand, Turn
from polewright.core.night.effects import Refused
from polewright.core.night.events import NOW, NightStarted, SkyMended, TargetChanged, ToleranceChanged
from polewright.core.night.orientation.clock import FrameArrival
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.core.not_measurable import NotMeasurable
from polewright.core.plan.tonight import Planned, TonightsPlan, plan_to_dict
from polewright.core.screws.doable import stepped_turns
from polewright.core.sky.sun import sun_altitude_rad
from polewright.core.sky.timescales import julian_epoch_year, unix_seconds
from polewright.runtime.engine import Outlets
from polewright.runtime.jobs import Done
from polewright.runtime.notices import Notice
from polewright.services.folder_survey import FolderSurvey
from polewright.services.magnetic import MagneticDeclination, magnetic_declination
from polewright.services.report.earlier import EarlierNights
from polewright.ui import intents as want
from polewright.ui.driving.desk import Desk, NightOrder
from polewright.ui.driving.form import Known, clock_text
from polewright.ui.driving.means import Means
from polewright.ui.driving.mended import AsItWas, mended
from polewright.ui.driving.night_files import export_night
from polewright.ui.driving.planning import Planning, keep_with_rig
from polewright.ui.driving.rig import Chosen, RigAndSite
from polewright.ui.driving.snapshot import Snapshot
from polewright.ui.presenting.extras import USUAL_INTERVAL_S, Extras
from polewright.ui.presenting.history import NightHistory
from polewright.ui.presenting.night import present
from polewright.ui.view_model import Rehearsal, SiteForm, View, Work
from polewright.words import window as words
from polewright.words.clock import clock_set
from polewright.words.deeds import noted
from polewright.words.folder import quiet_folder
from polewright.words.plan import aimed_words, allowed_words
from polewright.words.said import Said

REFUSAL_SHOWN_S = 15.0
KEPT_GAPS, KEPT_ARRIVALS = 8, 5
WRITING, CHANGED, NOTED = "writing the night", "changed", "noted"
FOLDER_QUIET_S = 15.0  # without a frame: say what lies in the folder (chosen; frames come every 1 to 5 s)
QUIET_INTERVALS = 4.0


@dataclass(frozen=True)
class Begin:
    """How a night begins: `started` None for a night that is taken up again."""

    title: str
    folder: Path
    started: NightStarted | None


class NightScene:
    """Attributes: `desk`, `snapshot` (None until the night's thread has spoken), `history`."""

    def __init__(self, means: Means, order: NightOrder, begin: Begin, changed: Callable[[], None]) -> None:
        self._means = means
        self._order = order
        self._begin = begin
        self._changed = changed
        self._gaps: deque[float] = deque(maxlen=KEPT_GAPS)
        self._arrivals: deque[FrameArrival] = deque(maxlen=KEPT_ARRIVALS)
        self._frames_seen = 0
        self._last_frame_s: float | None = None
        self._refused_until_s = self._noted_until_s = -1.0
        self._trouble_read_s: float | None = None
        self._magnetic: MagneticDeclination | NotMeasurable | None = None
        self._own_notices: tuple[Notice, ...] = ()
        self._clock_kept: float | None = None  # what the rig's profile says, once the night has begun
        self._folder_notice: Notice | None = None
        self._folder_read = self._lost_read = False  # put away by the person
        self._watched_since_s = 0.0
        self._read_off: tuple[Errand, float] | None = None  # the errand it answers, and the turn read off so far
        self._planning = Planning(means.worker, order.optics, changed, self._adopt)
        self.work: Work | None = None
        self.earlier: EarlierNights | None = None
        self.snapshot: Snapshot | None = None
        self.history = NightHistory()
        self.desk: Desk = means.make_desk(order, self._on_told)
        if begin.started is not None:
            self.desk.click(begin.started)
        means.wakefulness.hold(words.AWAKE)

    # what comes from the night

    def _on_told(self, snapshot: Snapshot) -> None:
        before, self.snapshot = self.snapshot, snapshot
        self.history.take(snapshot.state)
        self._keep_clock(snapshot.state.plan)
        self._planning.follow(snapshot.state.plan)
        self._note_frame(snapshot)
        self._mind_folder(snapshot)
        if snapshot.refused is not None and (before is None or before.refused is not snapshot.refused):
            self._refused_until_s = snapshot.now_s + REFUSAL_SHOWN_S
            self._noted_until_s = -1.0  # what was refused is not noted
        if self._magnetic is None and snapshot.state.plan is not None:
            site, year = snapshot.state.plan.site, julian_epoch_year(self._order.clock.utc())
            self._magnetic = NotMeasurable()
            self._means.worker.ask("magnetic", lambda: magnetic_declination(site, year), self._on_magnetic)
        self._changed()

    def _mind_folder(self, snapshot: Snapshot) -> None:
        """While nothing arrives: what lies in the folder. What was put away stays away until a frame has come."""
        state, survey = snapshot.state, snapshot.survey
        self._lost_read = self._lost_read and state.folder_lost
        waited = isinstance(state, Running) and not (state.paused or state.folder_lost or state.aligned)
        quiet = self._quiet_s(snapshot) > max(FOLDER_QUIET_S, QUIET_INTERVALS * self._interval_s)
        self._folder_notice = self._folder_words(survey) if survey is not None and waited and quiet else None

    def _quiet_s(self, snapshot: Snapshot) -> float:
        """How long nothing has come from this folder."""
        last_s = -math.inf if self._last_frame_s is None else self._last_frame_s
        return snapshot.now_s - max(last_s, self._watched_since_s)

    def _folder_words(self, survey: FolderSurvey) -> Notice:
        ago_s = None if survey.newest_s is None else unix_seconds(self._order.clock.utc()) - survey.newest_s
        name = survey.folder.name or str(survey.folder)
        kinds = (survey.others, survey.below, survey.followed, survey.left_out)
        return Notice("folder", *quiet_folder(name, survey.frames, ago_s, *kinds))

    @property
    def _interval_s(self) -> float:
        """The usual time between frames."""
        return median(self._gaps) if self._gaps else USUAL_INTERVAL_S

    def _folder_notices(self) -> tuple[Notice, ...]:
        return () if self._folder_notice is None or self._folder_read else (self._folder_notice,)

    def _on_magnetic(self, done: Done) -> None:
        self._magnetic = done.result()
        self._changed()

    def take_earlier(self, done: Done) -> None:
        """What the nights before this one with the same rig have taught; nothing where they cannot be read."""
        self.earlier = done.result()
        self._changed()

    def _note_frame(self, snapshot: Snapshot) -> None:
        news = snapshot.frame
        if news is None or news.number == self._frames_seen:
            return
        self._frames_seen = news.number
        self._folder_read = False
        if self._last_frame_s is not None:
            self._gaps.append(news.at_s - self._last_frame_s)
        self._last_frame_s = news.at_s
        if news.arrival is not None:
            self._arrivals.append(news.arrival)

    # what comes from the person

    def act(self, intent: want.Intent) -> bool:
        """Do what concerns the night; False when it is for somebody else."""
        snapshot = self.snapshot
        if snapshot is None:
            return False
        if isinstance(intent, want.Said):
            self._refused_until_s = -1.0
            self._tell_change(intent, snapshot.state.plan)
            self.desk.click(intent)
        elif isinstance(intent, want.OfTheNight):
            self._do_own(intent, snapshot)
        elif isinstance(intent, want.OfAnyScene):
            self._do_common(intent, snapshot)
        else:
            return False
        self._changed()
        return True

    def _note(self, said: Said) -> None:
        """Told for a while: it must not lie over what the frames show next."""
        self._noted_until_s = (0.0 if self.snapshot is None else self.snapshot.now_s) + REFUSAL_SHOWN_S
        self.notify(Notice(NOTED, *said))

    def _tell_change(self, intent: want.Said, plan: NightPlan | None) -> None:
        """What a key changes that no picture shows is said."""
        self._own_notices = tuple(n for n in self._own_notices if n.topic != NOTED)
        said = noted(intent)
        if said is not None:
            self._note(said)
        if plan is not None and isinstance(intent, TargetChanged):
            moved_rad = intent.pole_altitude_rad - plan.pole_altitude_rad
            self.notify(Notice(CHANGED, *aimed_words(intent.target, moved_rad)))
        elif plan is not None and isinstance(intent, ToleranceChanged):
            self.notify(Notice(CHANGED, *allowed_words(intent.tolerance_rad)))
        elif any(notice.topic == CHANGED for notice in self._own_notices):
            self._own_notices = tuple(n for n in self._own_notices if n.topic != CHANGED)

    def _do_own(self, intent: want.OfTheNight, snapshot: Snapshot) -> None:
        match intent:
            case want.ReadOff():
                self._read_off = read_off(snapshot.advice, self._read_off_now(snapshot), intent)
            case want.SetClock():
                self._set_clock(intent.ahead_s, snapshot)
            case want.ExportNight():
                self._export()
            case want.ShowPlan() | want.FillPlan() | want.AdoptPlan():
                self._plan(intent, snapshot.state.plan)
            case _:
                assert_never(intent)

    def _do_common(self, intent: want.OfAnyScene, snapshot: Snapshot) -> None:
        match intent:
            case want.ChooseFolder():
                self.choose_folder(intent.folder)
            case want.CancelWork():
                self._cancel()
            case want.DismissTrouble():
                self._dismiss(snapshot)
            case want.SayWhyNot():
                self._note(Said(intent.why, ""))
            case _:
                assert_never(intent)

    def _plan(self, intent: want.ShowPlan | want.FillPlan | want.AdoptPlan, night: NightPlan | None) -> None:
        if night is None:
            return
        if isinstance(intent, want.ShowPlan):
            self._planning.show(night)
        elif isinstance(intent, want.FillPlan):
            self._planning.fill(intent, night)
        else:
            self._planning.adopt()

    def _set_clock(self, ahead_s: float, snapshot: Snapshot) -> None:
        plan = snapshot.state.plan
        if plan is not None:
            self.click_mended(SkyMended(NOW, plan.site, plan.pole_altitude_rad, plan.air, ahead_s))
            self.notify(Notice(CHANGED, *clock_set(ahead_s, snapshot.state.stage is not Stage.ORIENTATION)))

    def click_mended(self, event: SkyMended) -> None:
        """Frames are placed by another site or clock from now on."""
        self._arrivals.clear()
        self.desk.click(event)

    def mend(self, found: RigAndSite, what: Chosen, folder: Path, outlets: Outlets) -> None:
        """What was stated at the beginning is another now: the night goes on in the same record."""
        snapshot = self.snapshot
        plan = None if snapshot is None else snapshot.state.plan
        if plan is None:
            return
        was = AsItWas(plan, self._order.rig, self._order.optics, self._begin.folder)
        changed = mended(was, found, what, folder, self._order.clock.utc())
        if changed.sky is not None:
            self.click_mended(changed.sky)
        if changed.rig is not None:
            self.desk.click(changed.rig)
            self.desk.ask(lambda engine: engine.use_outlets(outlets))
        self.desk.use_optics(what.optics)
        self._order = replace(self._order, rig=found.rig_name, optics=what.optics)
        self._planning.use_optics(what.optics)
        self._begin = replace(self._begin, title=f"{found.site_name} · {found.rig_name}")
        if folder != self._begin.folder:
            self.choose_folder(folder)
        self.notify(Notice(CHANGED, *changed.told))

    @property
    def folder(self) -> Path:
        """Where its record is."""
        return self._order.night_folder

    def form_now(self, form: Known) -> Known:
        """The form with what the night goes by."""
        plan = None if self.snapshot is None else self.snapshot.state.plan
        ahead_s = 0.0 if plan is None else plan.clock_ahead_s
        return replace(form, folder=str(self._begin.folder), clock=clock_text(ahead_s))

    def _keep_clock(self, plan: NightPlan | None) -> None:
        """The rig remembers what its frames' clock was set by, and that it was taken back."""
        if plan is None or plan.clock_ahead_s == self._clock_kept:
            return
        known, self._clock_kept = self._clock_kept, plan.clock_ahead_s
        if known is not None:
            self.keep_clock(plan.clock_ahead_s)

    def keep_clock(self, ahead_s: float) -> None:
        """The offset of the clock stays with the rig."""
        self._keep_with_rig(clock_ahead_s=ahead_s)

    def _adopt(self, planned: Planned) -> None:
        """The plan on the page sets the tolerance from now on, and stays with the rig."""
        if self.snapshot is not None and self.snapshot.state.plan is not None:
            tolerance_rad = planned.tolerance_rad(self.snapshot.state.plan.target)
            self.desk.click(ToleranceChanged(NOW, tolerance_rad, planned))
            self.keep_plan(planned.plan)

    def keep_plan(self, plan: TonightsPlan) -> None:
        """The last plan stays with the rig."""
        self._keep_with_rig(plan=plan_to_dict(plan))

    def _keep_with_rig(self, **changed: Any) -> None:
        rig = (self._order.rig, self._order.optics)
        keep_with_rig(self._means.worker, self._means.config, rig, self.notify, **changed)

    def choose_folder(self, folder: Path | None) -> None:
        """Take frames from another folder; the imaging run's may come from another camera."""
        if folder is None:
            return
        if self.over:
            self._order.other_camera()
        self._begin = Begin(self._begin.title, folder, None)
        self._watched_since_s = 0.0 if self.snapshot is None else self.snapshot.now_s
        self._folder_notice, self._folder_read, self._lost_read = None, False, False
        self.desk.watch(folder)

    def _dismiss(self, snapshot: Snapshot) -> None:
        if self._refused_shown(snapshot) is not None:
            self._refused_until_s = -1.0
        elif self._said(snapshot):
            self._own_notices = self._said(snapshot)[:-1]
        elif snapshot.notices:
            topic = snapshot.notices[-1].topic
            self.desk.ask(lambda engine: engine.dismiss(topic))
        elif self._folder_notices():
            self._folder_read = True
        elif snapshot.state.folder_lost and not self._lost_read:
            self._lost_read = True
        elif snapshot.state.trouble is not None:
            self._trouble_read_s = snapshot.state.trouble.since_s

    def _said(self, snapshot: Snapshot) -> tuple[Notice, ...]:
        """The window's own notices, without what was noted a while ago."""
        fresh = snapshot.now_s <= self._noted_until_s
        return tuple(n for n in self._own_notices if fresh or n.topic != NOTED)

    def notify(self, notice: Notice) -> None:
        """Show a notice of the window's own."""
        others = tuple(n for n in self._own_notices if n.topic != notice.topic)
        self._own_notices = (*others, notice)
        self._changed()

    def _export(self) -> None:
        folder, work = self._order.night_folder, Work("Exporting the night")
        self.work = work
        self._means.worker.ask(WRITING, lambda: export_night(folder, lambda: self.work is work), self._on_exported)

    def _on_exported(self, done: Done) -> None:
        self.work = None
        if isinstance(done.problem, PolewrightError):
            self.notify(Notice(WRITING, str(done.problem), words.RECORD_UNHARMED))
        elif done.problem is not None:
            raise done.problem
        else:
            names = " and ".join(path.name for path in done.value)
            self.notify(Notice(WRITING, *words.written(names, str(done.value[0].parent))))

    def _cancel(self) -> None:
        self._means.worker.forget(WRITING)
        self.work = None

    # what is shown

    def view(self) -> View | None:
        """The night as it is; None before its thread has spoken."""
        snapshot = self.snapshot
        if snapshot is None:
            return None
        shown = present(snapshot.state, snapshot.advice, self.extras(snapshot))
        form = SiteForm(folder=str(self._begin.folder))  # where the page of folders begins
        return replace(shown, plan=self._planning.view(snapshot.state), form=form)

    def extras(self, snapshot: Snapshot) -> Extras:
        """Everything beside state and advice."""
        return Extras(
            now_s=snapshot.now_s,
            title=self._begin.title,
            news=snapshot.frame,
            interval_s=self._interval_s,
            notices=(*self._folder_notices(), *snapshot.notices, *self._said(snapshot)),
            refused=self._refused_shown(snapshot),
            trouble_read_s=self._trouble_read_s,
            lost_read=self._lost_read,
            history=self.history,
            magnetic=self._magnetic,
            arrivals=tuple(self._arrivals),
            work=self.work,
            earlier=self.earlier,
            rehearsal=self.rehearsal(),
            read_off=self._read_off_now(snapshot),
            by_day=self._by_day(snapshot),
        )

    def _by_day(self, snapshot: Snapshot) -> bool:
        plan = snapshot.state.plan
        return plan is not None and sun_altitude_rad(self._order.clock.utc(), plan.site) > 0.0

    def _read_off_now(self, snapshot: Snapshot) -> float | None:
        """What the person has read off so far in answer to the advice on show."""
        held = self._read_off
        return held[1] if held is not None and held[0] == snapshot.advice.errand else None

    def rehearsal(self) -> Rehearsal | None:
        """The practice screws; none in a real night."""
        return None

    def _refused_shown(self, snapshot: Snapshot) -> Refused | None:
        return snapshot.refused if snapshot.now_s <= self._refused_until_s else None

    def would_be_missed(self, closing: bool) -> bool:
        """Whether somebody is at work here: a night that is left is over, one that is closed is not watched."""
        state = None if self.snapshot is None else self.snapshot.state
        if not isinstance(state, Running) or state.stage is Stage.ORIENTATION:
            return False
        return not state.aligned or (closing and state.watching is not None)

    @property
    def over(self) -> bool:
        """Whether the alignment is proved or accepted."""
        return self.snapshot is not None and self.snapshot.state.aligned

    def close(self) -> list[str]:
        """End the night's work; it can be taken up again."""
        self._means.wakefulness.release()
        self._order.give_up()
        self._planning.close()
        return self.desk.stop()


def read_off(advice: Advice, now: float | None, intent: want.ReadOff) -> tuple[Errand, float] | None:
    """The turn to report after a correction, with the errand that it answers; None where none is asked for."""
    if not isinstance(advice.action, Turn):
        return None
    turns = stepped_turns(advice.action.turns if now is None else now, intent.steps)
    return advice.errand, -turns if intent.other_way else turns
