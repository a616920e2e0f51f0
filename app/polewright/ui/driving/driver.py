"""Drives the window: one scene at a time (first page, night, rehearsal, replay), intents in, views out."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Protocol, assert_never

from PySide6.QtCore import QObject

from polewright.core.errors import RecordingError, SettingsError
from polewright.core.night.events import LeadSwitched
from polewright.core.plan.tolerance import TargetTooLow
from polewright.core.plan.tonight import Planned
from polewright.core.sky.places import default_target
from polewright.core.sky.timescales import iso_text
from polewright.core.sky.weather import air_at
from polewright.runtime.jobs import Done
from polewright.runtime.notices import Notice
from polewright.runtime.starting import USUAL_TOLERANCE_RAD, night_started
from polewright.services.measuring import Optics
from polewright.services.night_folders import new_night_folder, own_night
from polewright.services.rehearsal_folders import only_latest
from polewright.services.report.earlier import earlier_nights
from polewright.ui import intents as want
from polewright.ui.driving.desk import NightOrder
from polewright.ui.driving.first_scene import FirstScene
from polewright.ui.driving.form import Known, scale_of, without_site
from polewright.ui.driving.live_measure import LiveMeasure
from polewright.ui.driving.means import Means
from polewright.ui.driving.night_scene import Begin, NightScene
from polewright.ui.driving.nights_scene import NightsScene
from polewright.ui.driving.planning import planned_for
from polewright.ui.driving.rehearsal_scene import RehearsalPlan, RehearsalScene
from polewright.ui.driving.remembered import Remembered, remember
from polewright.ui.driving.replay_scene import ReplayScene, problem_text, recording_of
from polewright.ui.driving.replay_track import ReplayTrack, StoppedError, load_track
from polewright.ui.driving.resuming import Resumable, resumable
from polewright.ui.driving.rig import Chosen, RigAndSite, RigOutlets, chosen, rig_and_site
from polewright.ui.main_window import MainWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.view_model import Trouble, View, Work
from polewright.words import window as words
from polewright.words.plan import too_low_words
from polewright.words.said import Said
from polewright.words.work import LEARNING

LOG = logging.getLogger("polewright")
SCENARIO = "first-night"
OPENING, LOADING, KEEPING, LOOKING_BACK = "opening the night", "loading a recording", "settings", "looking back"
EARLIER = "earlier nights"
LEAVING, CLOSING, MENDING = "leaving", "closing", "mending site and rig"


class Scene(Protocol):
    """What fills the window."""

    def act(self, intent: want.Intent) -> bool: ...

    def view(self) -> View | None: ...

    def close(self) -> list[str]: ...


class Driver(QObject):
    """Attributes: `scene`. Build it with the window, call `begin` once the window is on the screen."""

    def __init__(self, window: MainWindow, means: Means, remembered: Remembered) -> None:
        super().__init__(window)
        self._window = window
        self._means = means
        self._remembered = remembered
        self._work: Work | None = None
        self._preparing: Work | None = None  # the index of the sky, in the background
        self._stop_preparing: Callable[[], None] = lambda: None
        self._cancelled = False
        self._closing = False
        self._warned = False  # that closing would lose a part of the night
        self._asked = ""  # what the person was asked to do once more, if they mean it
        self._seed = 0
        self._measure: LiveMeasure | None = None
        self._behind: NightScene | None = None  # the night over which the form lies
        trouble = Trouble(remembered.problem, words.FILL_IN_AGAIN) if remembered.problem else None
        self.scene: Scene = FirstScene(means, remembered.form, self.refresh, trouble)
        window.wanted.connect(self.act)
        window.settings_changed.connect(self._on_settings)
        window.closing.connect(self.close)
        window.may_close = self.may_close

    def begin_when_shown(self, folder: Path | None = None, rehearsal: tuple[str, int] | None = None) -> None:
        """The same as `begin`, once the event loop runs and the window has been painted."""
        self.refresh()
        self._means.scheduler.after(0.0, lambda: self.begin(folder, rehearsal))

    def begin(self, folder: Path | None = None, rehearsal: tuple[str, int] | None = None) -> None:
        """Show the first page, or go straight on with what was asked for or left open."""
        if self._closing:  # before the window was painted: nobody would end what begins here
            return
        self.refresh()
        self._stop_preparing = self._means.prepare_index(scale_of(self._remembered.form), self._on_prepared)
        if folder is not None:
            self.act(want.ChooseFolder(folder))
        if rehearsal is not None:
            self.act(want.StartRehearsal(*rehearsal))
        elif (night := own_night(self._means.data / "nights", self._remembered.open_night)) and folder is None:
            now = self._means.clock.utc()
            self._means.worker.ask(LOOKING_BACK, lambda: resumable(night, now), self._on_looked_back)

    def _on_prepared(self, share: float | None) -> None:
        self._preparing = None if share is None else Work(LEARNING, share, can_cancel=False)
        self.refresh()

    # intents

    def act(self, intent: want.Intent) -> None:
        """Whatever the window does not settle by itself."""
        if isinstance(intent, want.LeaveNight) and not self._meant(LEAVING):
            return
        if not isinstance(intent, want.LeaveNight):
            self._asked = ""
        if isinstance(intent, want.OfTheDriver):
            self._change_scene(intent)
        elif isinstance(intent, want.CancelWork) and self._work is not None:
            self._cancel()
        else:
            self.scene.act(intent)
            if isinstance(intent, LeadSwitched):
                self._window.keep_lead(intent.told)
            if isinstance(intent, want.ChooseFolder) and intent.folder is not None:
                self._remember_folder(str(intent.folder))

    def _remember_folder(self, folder: str) -> None:
        """Where a running night takes its frames from now on; an imaging run's folder is not the next night's."""
        scene = self.scene
        if isinstance(scene, NightScene) and not isinstance(scene, RehearsalScene):
            form = self._remembered.form if scene.over else replace(self._remembered.form, folder=folder)
            self._keep(replace(self._remembered, form=form, open_frames=folder))

    def _keep_form(self) -> None:
        """What was typed waits while something else fills the window."""
        if isinstance(self.scene, FirstScene) and self._behind is None:
            self._remembered = replace(self._remembered, form=self.scene.known)

    def _change_scene(self, intent: want.OfTheDriver) -> None:
        if self._behind is not None and not isinstance(intent, want.StartNight | want.LeaveForm):
            return  # the night behind the form is not left from there
        self._keep_form()
        match intent:
            case want.StartRehearsal():
                self._rehearse(intent)
            case want.OpenReplay():
                if intent.recording is not None:
                    self._load(intent.recording, intent.asked)
            case want.OpenNights():
                self._list_nights()
            case want.ToFirstPage():
                self._first_page(self._remembered.form)
            case want.LeaveNight():
                self._leave()
            case want.MendSite():
                self._mend_site(intent.by_frames)
            case want.LeaveForm():
                self._back_to_the_night()
            case want.StartNight():
                if isinstance(self.scene, FirstScene):
                    (self._open_night if self._behind is None else self._mend)(self.scene.known)
            case _:
                assert_never(intent)

    def _mend_site(self, by_frames: bool) -> None:
        """The form over the night, which goes on behind it."""
        night = self.scene
        if not isinstance(night, NightScene) or isinstance(night, RehearsalScene):
            return
        form = night.form_now(self._remembered.form)
        known = without_site(form) if by_frames else form
        told = words.SITE_OF_FRAMES if by_frames else words.MEND_IT
        self._behind = night
        self._show(FirstScene(self._means, known, self.refresh, Trouble(*told), mending=True))

    def _back_to_the_night(self) -> None:
        """Away with the form."""
        if self._behind is not None:
            self.scene.close()
            night, self._behind = self._behind, None
            self._show(night)

    def _mend(self, known: Known) -> None:
        """Take over what the form says, in the same record."""
        what = chosen(known)
        if what is not None and known.folder:
            config, now = self._means.config, iso_text(self._means.clock.utc(), 0)
            self._means.worker.ask(
                MENDING, lambda: rig_and_site(config, what, now), lambda done: self._on_mended(done, known, what)
            )

    def _on_mended(self, done: Done, known: Known, what: Chosen) -> None:
        night, found = self._behind, done.result()
        if night is None:
            return
        self._back_to_the_night()
        folder = Path(known.folder).expanduser()
        outlets = RigOutlets(self._means.config, found.stored, night.folder.name)
        night.mend(found, what, folder, outlets)
        if self._measure is not None:
            self._measure.begin_anew(what.optics)
        known = replace(known, site_name=found.site_name, rig_name=found.rig_name, clock="")
        self._keep(replace(self._remembered, form=known, open_frames=known.folder))
        if found.problem:
            night.notify(Notice("profiles", found.problem, words.NOTHING_REMEMBERED))

    def _show(self, scene: Scene) -> None:
        self.scene, self._warned, self._asked = scene, False, ""
        self.refresh()

    def _list_nights(self) -> None:
        """All recorded nights."""
        self._end_scene()
        self._show(NightsScene(self._means, self.refresh))

    def _leave(self) -> None:
        """Back to the first page; a real night is over then, though its record stays. From a replay to the list."""
        if isinstance(self.scene, ReplayScene):
            self._list_nights()
            return
        self._keep(replace(self._remembered, open_night=""))
        self._first_page(self._remembered.form)

    def _first_page(self, known: Known, trouble: Trouble | None = None) -> None:
        self._end_scene()
        self._show(FirstScene(self._means, known, self.refresh, trouble))

    def _end_scene(self) -> None:
        for scene in (self.scene, self._behind):
            for sentence in () if scene is None else scene.close():
                LOG.warning(sentence)
        self._behind = None

    # a real night

    def _open_night(self, known: Known) -> None:
        what = chosen(known)
        if what is None or not known.folder:
            return
        means, site = self._means, what.site
        self._say(Work("Opening the night", can_cancel=False))

        def job() -> tuple[RigAndSite, Path, Planned | TargetTooLow | None]:
            folder = new_night_folder(means.data / "nights", means.clock.utc(), site.lon_deg)
            found = rig_and_site(means.config, what, iso_text(means.clock.utc(), 0))
            plan = found.plan
            return found, folder, None if plan is None else planned_for(plan, site, default_target(site))

        means.worker.ask(OPENING, job, lambda done: self._on_opened(done, known, what))

    def _on_opened(self, done: Done, known: Known, what: Chosen) -> None:
        self._say(None)
        site = what.site
        found, folder, planned = done.result()
        imaging = planned if isinstance(planned, Planned) else None
        pole = default_target(site)
        started = night_started(
            site,
            pole,
            USUAL_TOLERANCE_RAD,
            found.azimuth,
            found.altitude,
            found.rig_name,
            imaging,
            found.locks,
            walking=True,
            told=self._remembered.settings.told,
            flexure=found.flexure.flexure,
            air=air_at(site, what.weather, self._means.clock.utc()),
            clock_ahead_s=found.clock_ahead_s,
        )
        known = replace(known, site_name=found.site_name, rig_name=found.rig_name, clock="")
        begin = Begin(f"{found.site_name} · {found.rig_name}", Path(known.folder).expanduser(), started)
        self._keep(replace(self._remembered, form=known, open_night=str(folder), open_frames=known.folder))
        self._begin_night(folder, begin, what.optics, found)
        if isinstance(planned, TargetTooLow):
            self._tell(Notice("plan", *words.plan_not_kept(too_low_words(planned).reason)))

    def _begin_night(self, folder: Path, begin: Begin, optics: Optics, found: RigAndSite) -> None:
        self._end_scene()
        measure = self._measure = LiveMeasure(self._means.make_measure, optics, self._say, self._means.give_up_frame)
        outlets = RigOutlets(self._means.config, found.stored, folder.name)
        order = NightOrder(
            folder,
            measure,
            self._means.clock,
            optics,
            found.rig_name,
            outlets,
            other_camera=measure.other_camera,
            give_up=measure.end,
        )
        scene = NightScene(self._means, order, begin, self.refresh)
        scene.desk.watch(begin.folder)
        if found.problem:
            scene.notify(Notice("profiles", found.problem, words.NOTHING_REMEMBERED))
        self._show(scene)
        self._means.worker.ask(
            EARLIER, lambda: earlier_nights(folder.parent, folder, found.rig_name), scene.take_earlier
        )

    def _on_looked_back(self, done: Done) -> None:
        found: Resumable = done.result()
        known = self._remembered.form
        what = chosen(known)
        if found.problem:
            if found.over:
                self._keep(replace(self._remembered, open_night=""))  # said once
            self._first_page(known, Trouble(found.problem, words.ANOTHER_NIGHT))
        elif found.fresh and what is not None:
            rig = rig_and_site(self._means.config, what)
            frames = Path(self._remembered.open_frames or known.folder).expanduser()
            begin = Begin(f"{rig.site_name} · {rig.rig_name}", frames, None)
            self._begin_night(found.folder, begin, what.optics, rig)
            assert isinstance(self.scene, NightScene)
            self.scene.notify(Notice("resumed", *words.resumed(found.folder.name, found.left_text)))

    # a rehearsal

    def _rehearse(self, intent: want.StartRehearsal) -> None:
        try:
            folder = self._means.temporary()
        except RecordingError as problem:
            self._tell(Notice("rehearsal", str(problem), words.MAKE_ROOM))
            return
        self._end_scene()
        self._seed = self._seed + 1 if intent.seed is None else intent.seed
        plan = RehearsalPlan(intent.scenario or SCENARIO, self._seed, folder)
        clock = self._means.practice_clock(plan.scenario, plan.seed)
        measure = self._measure = LiveMeasure(
            self._means.make_measure, Optics(), self._say, self._means.give_up_frame
        )
        order = NightOrder(plan.folder / "night", measure, clock, keep_frame=only_latest, give_up=measure.end)
        self._show(RehearsalScene(self._means, plan, order, self.refresh))

    # a recording

    def _load(self, recording: Path, asked: bool) -> None:
        self._cancelled = False
        self._say(Work("Loading the recorded night"))

        def progress(_fraction: float) -> bool:
            return not self._cancelled

        def job() -> ReplayTrack:
            return load_track(recording_of(recording), progress)

        self._means.worker.ask(LOADING, job, lambda done: self._on_loaded(done, asked))

    def _on_loaded(self, done: Done, asked: bool) -> None:
        self._say(None)
        if isinstance(done.problem, StoppedError):
            return
        if done.problem is not None:
            self._tell(Notice(LOADING, problem_text(done.problem), words.ANOTHER_RECORDING))
            return
        track: ReplayTrack = done.value
        self._keep_form()  # loading takes a while, and the form is open meanwhile
        self._end_scene()
        self._show(ReplayScene(self._means, track, self.refresh, asked))

    # around all scenes

    def _cancel(self) -> None:
        self._cancelled = True
        self._means.worker.forget(LOADING)
        if self._measure is not None:
            self._measure.stop()
        self._say(None)

    def _say(self, work: Work | None) -> None:
        self._work = work
        self.refresh()

    def _tell(self, notice: Notice) -> None:
        if isinstance(self.scene, NightScene):
            self.scene.notify(notice)
        elif isinstance(self.scene, FirstScene):
            self.scene.notify(Trouble(notice.cause, notice.cure))
        elif isinstance(self.scene, NightsScene):
            self.scene.notify(Said(notice.cause, notice.cure))

    def fault(self, where: str, error: BaseException) -> None:
        """A fault somewhere in the program: logged by the caller, shown quietly here; the night goes on."""
        if not self._closing and isinstance(error, Exception):
            self._tell(Notice("fault", *words.quiet_fault(where, type(error).__name__)))

    def refresh(self) -> None:
        """Show what is now."""
        scene = getattr(self, "scene", None)
        if scene is None or self._closing:
            return
        view = scene.view()
        if view is None:
            return
        self._warned = self._warned and bool(self._unwritten())  # what comes after is another loss
        work = self._work or view.work or self._preparing
        self._window.show_view(view if work is view.work else replace(view, work=work))

    def _on_settings(self, settings: WindowSettings) -> None:
        self._keep(replace(self._remembered, settings=settings))

    def _keep(self, remembered: Remembered) -> None:
        self._remembered = remembered
        config = self._means.config
        self._means.worker.ask(KEEPING, lambda: remember(config, remembered), self._on_kept)

    def _on_kept(self, done: Done) -> None:
        if isinstance(done.problem, SettingsError):
            self._tell(Notice("settings", str(done.problem), words.NIGHT_UNHARMED))
        elif done.problem is not None:
            raise done.problem

    def may_close(self) -> bool:
        """Whether the window may close; False, and a notice, the first time when part of the night would be lost."""
        trouble = self._unwritten()
        if trouble and not self._warned:
            self._warned = True
            self._tell(Notice(CLOSING, trouble, words.MAKE_ROOM_OR_LOSE))
            return False
        return bool(trouble) or self._meant(CLOSING)

    def _meant(self, what: str) -> bool:
        """Whether a running night may be left: it is asked once, and the same key again means yes."""
        scene = self._night
        if self._closing or scene is None or not scene.would_be_missed(what == CLOSING):
            return True
        if self._asked == what:
            return True
        self._asked = what
        questions = {CLOSING: words.CLOSE_IT, LEAVING: words.LEAVE_IT}
        self._tell(Notice(LEAVING, *questions[what]))
        return False

    def _unwritten(self) -> str:
        return "" if self._closing or self._night is None else self._night.desk.unwritten

    @property
    def _night(self) -> NightScene | None:
        """The night that runs, on show or behind the form."""
        return self._behind or (self.scene if isinstance(self.scene, NightScene) else None)

    def close(self) -> None:
        """The window goes: end what runs, keep what was open."""
        if self._closing:
            return
        self._closing = True
        self._stop_preparing()
        self._window.hide()  # ending may take a moment: a measurement that runs is waited for
        self._end_scene()
        self._means.worker.stop()
        with contextlib.suppress(SettingsError):  # said already when it happened before
            remember(self._means.config, self._remembered)
