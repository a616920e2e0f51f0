"""The engine of a night: files become measurements, measurements events, events states; all of it is recorded.

One thread owns an engine. Events are recorded before they act. Measuring runs through `Jobs`, its outcomes come back
to the owner. A fault in a measurement becomes a notice and a line in the record, and the night goes on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, assert_never

from polewright.core.errors import PolewrightError, RecordingError
from polewright.core.flexure_memory import NightBend
from polewright.core.model import Frame, Utc
from polewright.core.night.advice import Advice
from polewright.core.night.effects import (
    Effect,
    EstimateAxis,
    FitDrift,
    FollowAxis,
    KeepDrift,
    KeepNight,
    Refused,
    SaveFlexure,
    SaveLocks,
    SaveScrew,
    ShiftFound,
    StartFollowing,
)
from polewright.core.night.events import AnyEvent, FrameUnsolved, SkyMended, Ticked
from polewright.core.night.orientation.clock import FrameArrival, check_clock
from polewright.core.night.states import NightPlan, NightState, Running, Stage
from polewright.core.night.table import CLICKS
from polewright.core.plain import to_plain
from polewright.core.screws.angles import Screw
from polewright.core.screws.lock_memory import LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.core.sky.timescales import unix_seconds
from polewright.core.unsolved import Fault, Unreadable
from polewright.runtime.checkpoint import course_to_plain
from polewright.runtime.clock_steps import ClockSteps
from polewright.runtime.course import Course
from polewright.runtime.frame_facts import FrameEvent, frame_event, measured_to_plain
from polewright.runtime.jobs import JobOutcome, Jobs, Overtaken
from polewright.runtime.notices import Notice, fault_notice, fault_record
from polewright.runtime.retrace import EVENT_KIND, FRAME_KIND, retrace_to_the_end
from polewright.services.checkpoint import Checkpoint
from polewright.services.measuring import MeasuredFrame, arrival_of, by_true_time
from polewright.services.night_log import NightLog
from polewright.services.ports import Clock, Recorder
from polewright.services.program_log import LOG
from polewright.services.report.facts import DRIFT_KIND, VIGIL_KIND
from polewright.words.axis import clock_words
from polewright.words.clock import clocks_stepped
from polewright.words.notices import CLOCK_CURE, MEASURED_ALL_THE_SAME, RECORD_WAITS, STALLED
from polewright.words.screws import turned_sky_words

SKY_TOPIC, CLOCK_TOPIC, STEP_TOPIC = "sky turned", "clock", "clock set"
CLOCK_FRAMES = 5  # one late file says nothing
STALL_TOPIC, STALLED_S = "folder stalled", 10.0
OVERTAKEN_KIND, FAULT_KIND = "frame_overtaken", "fault"
# chosen: four minutes at a frame a second; writing one takes some 10 ms, going through so many events 0.3 s
CHECKPOINT_EVENTS = 500
KEPT_STAGES = (Stage.CAPTURE, Stage.PROOF)  # every frame of these is measured; elsewhere, and later, the latest wins

Measure = Callable[[Path], MeasuredFrame]
Listener = Callable[["NightEngine"], None]
Landed = tuple[float, Utc]  # monotonic seconds and the computer's clock when a frame file was complete


class Outlets(Protocol):
    """Where the night's results go outside its record."""

    def save_screw(self, screw: Screw, memory: ScrewMemory) -> None:
        """Keep what a screw has taught with the rig."""
        ...

    def save_locks(self, memory: LockMemory) -> None:
        """Keep what tightening the locks does with the rig."""
        ...

    def save_flexure(self, bend: NightBend) -> None:
        """Keep what the two turns of this night told of the rig's bending."""
        ...

    def keep_night(self, state: NightState) -> None:
        """The alignment is proved or accepted: write its result."""
        ...


class NoOutlets:
    """Keeps nothing but the record."""

    def save_screw(self, screw: Screw, memory: ScrewMemory) -> None:
        """Nothing."""

    def save_locks(self, memory: LockMemory) -> None:
        """Nothing."""

    def save_flexure(self, bend: NightBend) -> None:
        """Nothing."""

    def keep_night(self, state: NightState) -> None:
        """Nothing."""


@dataclass(frozen=True, eq=False)
class _FrameResult:
    event: FrameEvent
    measured: MeasuredFrame | None = None  # by true time
    as_stated: MeasuredFrame | None = None  # by the frame's own clock


def _placed(name: str, as_stated: MeasuredFrame, plan: NightPlan) -> _FrameResult:
    measured = by_true_time(as_stated, plan.clock_ahead_s)
    return _FrameResult(frame_event(0.0, name, measured, plan.site, plan.air), measured, as_stated)


def _same_sky(a: NightPlan, b: NightPlan) -> bool:
    return (a.site, a.air, a.clock_ahead_s) == (b.site, b.air, b.clock_ahead_s)


class NightEngine:
    """Attributes: `course` (state and advice), `notices`, `last_measured` (for the picture)."""

    def __init__(
        self,
        measure: Measure,
        jobs: Jobs,
        recorder: Recorder,
        clock: Clock,
        outlets: Outlets | None = None,
        keep_frame: Callable[[Path], str] = str,
    ) -> None:
        """`keep_frame` keeps the file and names its place."""
        self._measure = measure
        self._jobs = jobs
        self._recorder = recorder
        self._clock = clock
        self._outlets = outlets or NoOutlets()
        self._keep_frame = keep_frame
        self._listeners: list[Listener] = []
        self._zero_s = clock.monotonic_s()
        self._posting = False
        self._posted: deque[AnyEvent] = deque()
        self.course = Course()
        self._since_checkpoint = 0
        self._answer_failed = False
        self.notices: tuple[Notice, ...] = ()
        self._told: set[str] = set()  # topics of conditions that hold, on show or put away
        self.refused: Refused | None = None
        self.last_measured: MeasuredFrame | None = None
        self._arrivals: deque[FrameArrival] = deque(maxlen=CLOCK_FRAMES)
        self._steps = ClockSteps()

    @property
    def state(self) -> NightState:
        return self.course.state

    @property
    def advice(self) -> Advice:
        return self.course.advice

    def now_s(self) -> float:
        """The night's own time: seconds since it began, going on over restarts."""
        return self._clock.monotonic_s() - self._zero_s

    def listen(self, listener: Listener) -> None:
        """Call `listener(engine)` after every change."""
        self._listeners.append(listener)

    # events

    def post(self, event: AnyEvent) -> None:
        """Something happened: record it, act on it, answer what it asks for, tell the listeners."""
        self._posted.append(event)
        if self._posting:
            return
        self._posting = True
        self.refused = None
        try:
            while self._posted:
                self._take(self._posted.popleft())
        finally:
            self._posting = False
        self._keep_checkpoint()
        self._publish()

    def tick(self) -> None:
        """Time passes."""
        self.post(Ticked(self.now_s(), measuring=self._jobs.running))

    def resume(self, log: NightLog, checkpoint: Checkpoint | None = None) -> None:
        """Take up a recorded night where it ended: same stage, same numbers. Only before the first event."""
        unanswered = retrace_to_the_end(self.course, log, checkpoint)
        last = log.last
        if last is not None:
            gap_s = max(0.0, self._clock.utc().seconds_since(last.utc))
            self._zero_s = self._clock.monotonic_s() - max(self.state.now_s, last.t_s) - gap_s
        for answer in unanswered:
            self.post(replace(answer, at_s=self.now_s()))
        self._publish()

    def _keep_checkpoint(self) -> None:
        """Every so many events, when no answer is due; not after a fault, which retracing would meet again."""
        if self._since_checkpoint < CHECKPOINT_EVENTS or self._answer_failed:
            return
        self._since_checkpoint = 0
        try:
            state = course_to_plain(self.course)
            if state is not None:
                self._recorder.keep_checkpoint(state)
        except Exception as error:
            self.fault("keeping a checkpoint", error)

    def _take(self, event: AnyEvent) -> None:
        self._since_checkpoint += 1
        before = self.state.plan
        self._record(EVENT_KIND, to_plain(event), urgent=isinstance(event, CLICKS))
        for effect in self.course.take(event):
            self._carry_out(effect)
        after = self.state.plan
        if before is not None and after is not None and before.clock_ahead_s != after.clock_ahead_s:
            self._arrivals.clear()  # compared with this computer's clock anew
            self._while_it_lasts(CLOCK_TOPIC, None)
        self._doubt_the_sky()

    def _carry_out(self, effect: Effect) -> None:
        """Answer it, then let it out; only an answer that fails would be met again by retracing."""
        if self._went_well(self._answer, effect):
            self._went_well(self._let_out, effect)
        else:
            self._answer_failed = True

    def _went_well(self, deed: Callable[[Effect], None], effect: Effect) -> bool:
        try:
            deed(effect)
        except PolewrightError as error:
            self.notify(Notice(type(effect).__name__, str(error), ""))
        except Exception as error:
            self.fault(f"answering {type(effect).__name__}", error)
        else:
            return True
        return False

    def _answer(self, effect: Effect) -> None:
        answer = self.course.answer(effect, self.now_s())
        if answer is not None:
            self._posted.append(answer)

    def _let_out(self, effect: Effect) -> None:
        """What goes beyond the night's own course: to the rig's profile, the record, the person."""
        match effect:
            case SaveScrew(screw, memory):
                self._outlets.save_screw(screw, memory)
            case SaveLocks(locks):
                self._outlets.save_locks(locks)
            case SaveFlexure(bend):
                self._outlets.save_flexure(bend)
            case ShiftFound(shift):
                self._record(VIGIL_KIND, to_plain(shift), urgent=True)
            case KeepNight():
                self._outlets.keep_night(self.state)
            case KeepDrift(reading, comparison):
                told = {**to_plain(reading), "comparison": to_plain(comparison)}
                self._record(DRIFT_KIND, told, urgent=True)
            case Refused():
                self.refused = effect
            case EstimateAxis() | StartFollowing() | FollowAxis() | FitDrift():
                pass  # the course has answered
            case _:
                assert_never(effect)

    def _publish(self) -> None:
        for listener in self._listeners:
            listener(self)

    # frames

    def frame_arrived(self, path: Path) -> None:
        """A frame file is complete: measure it, as soon as its turn comes."""
        plan = self.state.plan
        if plan is None or self.state.paused:
            return
        landed = (self._clock.monotonic_s(), self._clock.utc())
        keep = self.state.stage in KEPT_STAGES and not self.state.aligned
        self._jobs.submit(
            lambda: self._work(path, plan), lambda outcome: self._deliver(path, plan, landed, outcome), keep=keep
        )

    def _work(self, path: Path, plan: NightPlan) -> _FrameResult:
        """In the worker: read, detect, solve, place. Touches nothing of the engine's that changes."""
        try:
            as_stated = self._measure(path)
        except PolewrightError as error:
            return _FrameResult(FrameUnsolved(0.0, path.name, Unreadable(str(error))))
        return _placed(path.name, as_stated, plan)

    def _deliver(self, path: Path, plan: NightPlan, landed: Landed, outcome: JobOutcome) -> None:
        """Back with the owner; placed anew where site or clock were mended meanwhile."""
        if isinstance(outcome, Overtaken):
            self._record(OVERTAKEN_KIND, {"name": path.name})
        elif outcome.problem is not None:
            self.fault(f"measuring {path.name}", outcome.problem)
            self.post(FrameUnsolved(self.now_s(), path.name, Fault(path.name), landed_s=landed[0] - self._zero_s))
        else:
            result: _FrameResult = outcome.value
            now = self.state.plan
            if now is not None and not _same_sky(plan, now) and result.as_stated is not None:
                result = _placed(path.name, result.as_stated, now)
            if result.measured is not None:
                self._take_measured(path, result.measured, landed)
            self.post(replace(result.event, at_s=self.now_s(), landed_s=landed[0] - self._zero_s))

    def _take_measured(self, path: Path, measured: MeasuredFrame, landed: Landed) -> None:
        self._watch_the_clock(measured.frame, *landed)
        self._compare_clocks(measured.frame, landed[1])
        self.last_measured = measured
        self._record(FRAME_KIND, measured_to_plain(path.name, self._kept(path), measured))

    def _kept(self, path: Path) -> str:
        try:
            return self._keep_frame(path)
        except RecordingError as error:
            self.notify(Notice("keeping frames", str(error), MEASURED_ALL_THE_SAME))
            return str(path)

    # notices

    def notify(self, notice: Notice) -> None:
        """Show a notice; an older one of the same topic gives way and is counted."""
        older = next((n for n in self.notices if n.topic == notice.topic), None)
        count = 1 if older is None else older.count + 1
        self.dismiss(notice.topic)
        self.notices = (*self.notices, replace(notice, count=count))

    def dismiss(self, topic: str) -> None:
        """The person has read it, or it is over."""
        self.notices = tuple(n for n in self.notices if n.topic != topic)

    def _while_it_lasts(self, topic: str, words: tuple[str, str] | None) -> None:
        """Tell a condition, cause and cure, when it begins; take it down when it has ended (None).

        What the person has put away stays away until the condition begins anew.
        """
        if words is None:
            if topic in self._told:
                self._told.remove(topic)
                self.dismiss(topic)
        elif topic not in self._told:
            self._told.add(topic)
            self.notify(Notice(topic, *words))

    def _doubt_the_sky(self) -> None:
        """The screws show what no frame can: that longitude or clock is wrong."""
        turn = self.state.sky_turn_rad if isinstance(self.state, Running) else None
        self._while_it_lasts(SKY_TOPIC, None if turn is None else turned_sky_words(turn))

    def _watch_the_clock(self, frame: Frame, landed_s: float, landed: Utc) -> None:
        """Frames whose times were set with this computer's clock do not go with those before: measured anew."""
        if frame.utc_mid is None:
            return
        clock_s, ahead_s = unix_seconds(landed) - landed_s, frame.utc_mid.value.seconds_since(landed)
        stepped_s, state = self._steps.followed_s(clock_s, ahead_s), self.state
        if stepped_s is None or not isinstance(state, Running) or state.stage is Stage.ORIENTATION:
            return
        plan = state.plan
        if not state.aligned:
            sky = (plan.site, plan.pole_altitude_rad, plan.air, plan.clock_ahead_s)
            self.post(SkyMended(self.now_s(), *sky, stepped_s=stepped_s))
        self.notify(Notice(STEP_TOPIC, *clocks_stepped(stepped_s, measured_anew=not state.aligned)))

    def _compare_clocks(self, frame: Frame, landed: Utc) -> None:
        """Frame times against this computer's clock, over the latest frames."""
        stated = frame.stated_utc
        if stated is None:
            return
        self._arrivals.append(arrival_of(frame, stated, landed))
        check = check_clock(self._arrivals) if len(self._arrivals) == CLOCK_FRAMES else None
        if check is None:
            return
        told = None if check.late_at_most or check.doubt is None else (clock_words(check.doubt), CLOCK_CURE)
        self._while_it_lasts(CLOCK_TOPIC, told)

    def recording_trouble(self, trouble: RecordingError | None) -> None:
        """For the recorder: trouble with the disk has come, changed, or (None) gone."""
        if trouble is None:
            self.dismiss("recording")
        else:
            self.notify(Notice("recording", str(trouble), RECORD_WAITS))

    def folder_stalled(self, seconds: float) -> None:
        """For whoever watches the frame folder: how long it has not answered."""
        self._while_it_lasts(STALL_TOPIC, None if seconds < STALLED_S else STALLED)

    def use_outlets(self, outlets: Outlets) -> None:
        """What the screws teach goes elsewhere from now on: the rig was mended."""
        self._outlets = outlets

    def fault(self, where: str, error: Exception) -> None:
        """A bug has shown: into the record and the program's log, and as a notice to the person."""
        LOG.error("fault while %s", where, exc_info=error)
        self._record(FAULT_KIND, fault_record(where, error), urgent=True)
        self.notify(fault_notice(where, error))

    def _record(self, kind: str, data: dict[str, Any], *, urgent: bool = False) -> None:
        """Into the record; a fault of the recorder costs that line and not the night."""
        try:
            self._recorder.record(kind, data, urgent=urgent)
        except Exception as error:
            LOG.error("fault while recording %s", kind, exc_info=error)
            self.notify(fault_notice("recording", error))
