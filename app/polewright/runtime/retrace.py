"""Going through a recorded night again: on resuming after a crash, and in a replay that checks every number."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import assert_never

from polewright.core.axis_reasons import RecordedDoubt
from polewright.core.errors import PolewrightError, RecordingError
from polewright.core.model import Utc
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
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import (
    AnyEvent,
    AxisFollowed,
    AxisMeasured,
    AxisRefused,
    DriftMeasured,
    DriftRefused,
    FrameSolved,
    FrameUnsolved,
)
from polewright.core.night.states import NightState
from polewright.core.not_measurable import RecordedRefusal
from polewright.core.plain import from_plain
from polewright.core.unsolved import FrameTrouble, RecordedReason, trouble_of
from polewright.runtime.checkpoint import take_up
from polewright.runtime.course import Course
from polewright.runtime.frame_facts import place, solution_from_plain
from polewright.services.checkpoint import Checkpoint
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog
from polewright.services.program_log import LOG

EVENT_KIND, FRAME_KIND = "event", "frame"
SLOWEST, FASTEST = 1.0, 100.0  # chosen: a hundred times is a night in minutes; what is too fast can be stepped


@dataclass(frozen=True)
class Rounding:
    """By how much a number may differ that another processor computes: as a share of it, and for one near zero."""

    relative: float
    absolute: float

    def of(self, name: str) -> Rounding:
        """For the member of that name: covariances are of 1e-12 rad²."""
        return replace(self, absolute=1e-20) if name.endswith("rad2") else self


# The order in which vector units add depends on the processor, and a fit carries that on. Three nights gone through
# with the kernels of three processors (OPENBLAS_CORETYPE; 4,212 numbers) gave axes up to 1e-13 rad apart; a drift
# that has hardly begun knows nothing yet, and its sums are ill-conditioned: 1e-4 of a number, 4e-10 rad.
AXIS_ROUNDING = Rounding(1e-6, 1e-11)
DRIFT_ROUNDING = Rounding(1e-3, 1e-7)


@dataclass(frozen=True)
class Difference:
    """A recorded number that did not come out again: line of the log, what, recorded and computed."""

    seq: int
    what: str
    recorded: object
    computed: object


def answers_to(effect: Effect) -> tuple[type, ...]:
    """The events that may answer an effect; see is_answer."""
    match effect:
        case EstimateAxis():
            return AxisMeasured, AxisRefused
        case FollowAxis():
            return AxisFollowed, FrameUnsolved
        case FitDrift():
            return DriftMeasured, DriftRefused
        case StartFollowing() | KeepDrift() | SaveScrew() | SaveLocks() | SaveFlexure() | ShiftFound() | KeepNight():
            return ()
        case Refused():
            return ()
        case _:
            assert_never(effect)


def is_answer(event: AnyEvent) -> bool:
    """Whether the engine computed this event from others; everything else came from outside."""
    if isinstance(event, FrameUnsolved):
        return trouble_of(event.why) is FrameTrouble.NOT_FOLLOWED
    return isinstance(event, AxisMeasured | AxisRefused | AxisFollowed | DriftMeasured | DriftRefused)


def recorded_events(log: NightLog) -> Iterator[tuple[LoggedEvent, AnyEvent]]:
    """The night's events in order; RecordingError at one that this version does not understand."""
    for line in log.events:
        if line.kind == EVENT_KIND:
            yield line, event_from_plain(line.data)


def retrace_to_the_end(course: Course, log: NightLog, checkpoint: Checkpoint | None = None) -> tuple[AnyEvent, ...]:
    """Bring a fresh course to the end of a log; the answers that a crash kept from being recorded come back.

    Recorded answers are taken as they are; only what following needs is computed again. Events that are damaged are
    left out. From a checkpoint on, where there is one, only what came after it is gone through.
    """
    after = checkpoint.seq if checkpoint is not None and take_up(course, checkpoint.state) else -1
    answers = _retraced(course, log, advised=False, after=after)
    try:
        course.advice  # noqa: B018 - it is worked out once, at the end
    except Exception:  # of a state that damaged numbers have made: look at every event, and leave those out
        course.begin_again()
        answers = _retraced(course, log, advised=True)
    return answers


def _retraced(course: Course, log: NightLog, advised: bool, after: int = -1) -> tuple[AnyEvent, ...]:
    open_effects: list[Effect] = []
    following: list[tuple[NightState, Effect, float]] = []  # since it was started last: what was before is of no use
    now_s, left_out = 0.0, 0
    for line in log.events:
        if line.seq <= after:
            continue
        taken = _taken(course, line, advised)
        if taken is None:
            left_out += line.kind == EVENT_KIND
            continue
        event, effects = taken
        now_s = event.at_s
        _strike(open_effects, event)
        for effect in effects:
            if isinstance(effect, StartFollowing):
                following.clear()
            if isinstance(effect, StartFollowing | FollowAxis):
                following.append((course.state, effect, now_s))
            if answers_to(effect):
                open_effects.append(effect)
    if left_out:
        LOG.warning("%d events of the record could not be taken up again and were left out", left_out)
    followed = _followed_again(course, following)
    answers = [
        _answer(course, effect, now_s) if isinstance(effect, EstimateAxis | FitDrift) else followed.get(id(effect))
        for effect in open_effects
    ]
    return tuple(answer for answer in answers if answer is not None)


def _followed_again(course: Course, following: list[tuple[NightState, Effect, float]]) -> dict[int, AnyEvent | None]:
    """The answers to effects of following, each in the state that asked for it; by the identity of the effect."""
    answers, last = {}, course.state
    for state, effect, at_s in following:
        course.state = state
        answers[id(effect)] = _answer(course, effect, at_s)
    course.state = last
    return answers


def _taken(course: Course, line: LoggedEvent, advised: bool) -> tuple[AnyEvent, tuple[Effect, ...]] | None:
    """The event of a line, taken by the course, and what it asks for; None, with the course as it was, for any other
    line and for one that is damaged: what happened after it is still worth having."""
    if line.kind != EVENT_KIND:
        return None
    state = course.state
    try:
        event = event_from_plain(line.data)
        effects = course.take(event)
        if advised:
            course.advice  # noqa: B018 - whether it can be
        return event, effects
    except Exception as error:
        LOG.warning("line %d of the record cannot be taken up: %r", line.seq, error)
        course.state = state
        return None


def _answer(course: Course, effect: Effect, at_s: float) -> AnyEvent | None:
    """The answer; None where a fault keeps it from coming, as it did in the night itself. The night goes on."""
    try:
        return course.answer(effect, at_s)
    except Exception as error:
        LOG.error("fault while answering %s again", type(effect).__name__, exc_info=error)
        return None


class CheckedReplay:
    """Plays a log line by line through a fresh course and computes every number again.

    Attributes: `course`, `differences`, `numbers_checked`.
    """

    def __init__(self) -> None:
        self.course = Course()
        self.differences: list[Difference] = []
        self.numbers_checked = 0
        self._answers: list[AnyEvent] = []
        self._placed: dict[str, tuple[Utc, object]] = {}

    @property
    def between_answers(self) -> bool:
        """Whether a number is about to follow: what is advised now was never on the screen."""
        return bool(self._answers)

    @property
    def unanswered(self) -> tuple[AnyEvent, ...]:
        """Answers that are due and have not come: at the end of a log, what a crash swallowed."""
        return tuple(self._answers)

    def take(self, line: LoggedEvent) -> AnyEvent | None:
        """One line of the log; the event it was, None for a line that is none."""
        if line.kind == FRAME_KIND:
            self._remember_solution(line)
        if line.kind != EVENT_KIND:
            return None
        event = event_from_plain(line.data)
        try:
            self._check(line, event)
            effects = self.course.take(event)
        except PolewrightError:
            raise
        except Exception as error:  # numbers that cannot stand beside each other: the record is at fault
            raise RecordingError(f"Line {line.seq} of the record does not fit the lines before it.") from error
        for effect in effects:
            answer = _answer(self.course, effect, event.at_s)
            if answer is not None:
                self._answers.append(answer)
        return event

    def _remember_solution(self, line: LoggedEvent) -> None:
        if line.data.get("solution") is not None and line.data.get("utc_mid") is not None:
            self._placed[line.data["name"]] = (
                from_plain(Utc, line.data["utc_mid"]),
                solution_from_plain(line.data["solution"]),
            )

    def _check(self, line: LoggedEvent, event: AnyEvent) -> None:
        if isinstance(event, FrameSolved) and event.frame.name in self._placed:
            self._check_frame(line, event)
        if is_answer(event):
            computed = next((a for a in self._answers if type(a) is type(event)), None)
            if computed is None:
                self._differ(line, type(event).__name__, event, None)
                return
            self._answers.remove(computed)
            self._compare(line, type(event).__name__, event, replace(computed, at_s=event.at_s))

    def _check_frame(self, line: LoggedEvent, event: FrameSolved) -> None:
        plan = self.course.state.plan
        utc_mid, solution = self._placed.pop(event.frame.name)
        if plan is not None:
            computed = place(event.frame.name, utc_mid, plan.site, plan.air, solution)  # type: ignore[arg-type]
            self._compare(line, "FrameSolved", event.frame, computed)

    def _compare(self, line: LoggedEvent, what: str, recorded: object, computed: object) -> None:
        self.numbers_checked += 1
        rounding = DRIFT_ROUNDING if isinstance(recorded, DriftMeasured) else AXIS_ROUNDING
        if not _agree(recorded, computed, rounding):
            self._differ(line, what, recorded, computed)

    def _differ(self, line: LoggedEvent, what: str, recorded: object, computed: object) -> None:
        self.differences.append(Difference(line.seq, what, recorded, computed))


def _agree(recorded: object, computed: object, rounding: Rounding) -> bool:
    """Whether they are equal but for rounding, and for what an older version wrote down in sentences: that cannot be
    compared."""
    if isinstance(recorded, RecordedReason | RecordedRefusal | RecordedDoubt):
        return computed is not None
    if isinstance(recorded, float) and isinstance(computed, float):
        return math.isclose(recorded, computed, rel_tol=rounding.relative, abs_tol=rounding.absolute)
    if dataclasses.is_dataclass(recorded) and type(recorded) is type(computed):
        return all(
            _agree(getattr(recorded, item.name), getattr(computed, item.name), rounding.of(item.name))
            for item in dataclasses.fields(recorded)
        )
    if isinstance(recorded, tuple) and isinstance(computed, tuple) and len(recorded) == len(computed):
        return all(_agree(*pair, rounding) for pair in zip(recorded, computed, strict=True))
    return recorded == computed


def _strike(open_effects: list[Effect], event: AnyEvent) -> None:
    """Take the effect that this event answers off the list."""
    for index, effect in enumerate(open_effects):
        if is_answer(event) and isinstance(event, answers_to(effect)):
            del open_effects[index]
            return
