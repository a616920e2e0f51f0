"""A recorded night as a list of moments, so that it can be entered anywhere. Pure but for reading the log."""

from __future__ import annotations

import bisect
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.core.night.advice import Advice
from polewright.core.night.events import AnyEvent, Ticked
from polewright.core.night.states import NightState, Running
from polewright.core.night.trainee import Decision, decisions
from polewright.core.not_measurable import NotMeasurable
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewRate
from polewright.core.sky.timescales import julian_epoch_year
from polewright.runtime.course import Course
from polewright.runtime.retrace import FRAME_KIND, recorded_events
from polewright.services.magnetic import MagneticDeclination, magnetic_declination
from polewright.services.night_log import NightLog, read_night
from polewright.ui.driving.recorded_frame import RecordedFrame, recorded_frame
from polewright.ui.presenting.history import NightHistory

Progress = Callable[[float], bool]
REPORT_EVERY = 100


class StoppedError(Exception):
    """The person has stopped the loading."""


@dataclass(frozen=True, eq=False)
class Moment:
    """The night just after an event; `t_s` counts from the first event of the log."""

    t_s: float
    event: AnyEvent
    state: NightState
    advice: Advice


@dataclass(frozen=True, eq=False)
class Question:
    """A turn that was made: asked just before it, at `t_s`."""

    t_s: float
    decision: Decision


@dataclass(frozen=True, eq=False)
class ReplayTrack:
    """`frames`: what was recorded of each, by name. `rates`: what the whole night taught about the screws."""

    folder: Path
    moments: tuple[Moment, ...]
    questions: tuple[Question, ...]
    frames: dict[str, RecordedFrame]
    rates: dict[Screw, ScrewRate | None]
    history: NightHistory
    magnetic: MagneticDeclination | NotMeasurable | None = None  # of the site that night

    @property
    def length_s(self) -> float:
        return self.moments[-1].t_s

    def index_at(self, t_s: float) -> int:
        """The last moment that is not later; 0 before the first."""
        return max(0, bisect.bisect_right([m.t_s for m in self.moments], t_s) - 1)


def load_track(path: Path, progress: Progress | None = None) -> ReplayTrack:
    """Read and retrace a night; RecordingError when there is none, StoppedError once `progress` returns False."""
    log = read_night(path)
    lines = list(recorded_events(log))
    if not lines:
        raise RecordingError(f"{path.name} contains no events: it is not a recorded night, or it is empty.")
    folder = path if path.is_dir() else path.parent
    course, history = Course(), NightHistory()
    zero_s = lines[0][0].t_s
    moments: list[Moment] = []
    steps: list[tuple[AnyEvent, NightState, NightState]] = []
    times: list[float] = []
    for number, (line, event) in enumerate(lines):
        if progress is not None and number % REPORT_EVERY == 0 and not progress(number / len(lines)):
            raise StoppedError
        before = course.state
        course.take(event)
        history.take(course.state)
        steps.append((event, before, course.state))
        times.append(line.t_s - zero_s)
        if not isinstance(event, Ticked) or not moments:
            moments.append(Moment(line.t_s - zero_s, event, course.state, course.advice))
    end = course.state
    rates = {screw: end.rate(screw) if isinstance(end, Running) else None for screw in Screw}
    magnetic = _magnetic(end, lines[0][0].utc)
    return ReplayTrack(
        folder, tuple(moments), _questions(steps, times, moments), _frames(log), rates, history, magnetic
    )


def _magnetic(state: NightState, utc: Utc) -> MagneticDeclination | NotMeasurable | None:
    return None if state.plan is None else magnetic_declination(state.plan.site, julian_epoch_year(utc))


def _questions(
    steps: list[tuple[AnyEvent, NightState, NightState]], times: list[float], moments: list[Moment]
) -> tuple[Question, ...]:
    """Each decision at the last moment before its turn began."""
    shown = [moment.t_s for moment in moments]
    found = []
    for decision in decisions(steps):
        before = max(0, bisect.bisect_left(shown, times[decision.step]) - 1)
        found.append(Question(shown[before], decision))
    return tuple(found)


def _frames(log: NightLog) -> dict[str, RecordedFrame]:
    return {str(line.data.get("name")): recorded_frame(line.data) for line in log.events if line.kind == FRAME_KIND}
