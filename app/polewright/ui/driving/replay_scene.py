"""A recorded night in the window: played, scrubbed, stepped; or answered turn by turn as a trainee."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import assert_never

from polewright.core.errors import PolewrightError
from polewright.core.night.events import NextAsked, ScrewTurned
from polewright.core.night.trainee import Answer, judge
from polewright.runtime.jobs import Done
from polewright.runtime.retrace import FASTEST, SLOWEST
from polewright.services.ports import Timer
from polewright.ui import intents as want
from polewright.ui.driving.means import Means
from polewright.ui.driving.recorded_frame import recorded_frame, recorded_picture
from polewright.ui.driving.replay_track import Moment, Question, ReplayTrack
from polewright.ui.presenting.extras import Extras, FrameNews
from polewright.ui.presenting.replay import Lesson, replay_view
from polewright.ui.view_model import FramePicture, View

BEAT_S = 0.1
FIRST_SPEED = 10.0
PICTURE = "picture of the replay"
NOTHING_RECORDED = recorded_frame({})


class ReplayScene:
    """Attributes: `track`; `position_s`, `speed`, `playing`; `lesson`, what the trainee is asked or told."""

    def __init__(self, means: Means, track: ReplayTrack, changed: Callable[[], None], asked: bool = False) -> None:
        """`asked`: the person answers from the beginning, and it plays at once."""
        self.track = track
        self.position_s = 0.0
        self.speed = FIRST_SPEED
        self.playing = False
        self.trainee = asked
        self.lesson: Lesson | None = None
        self._means = means
        self._changed = changed
        self._index = 0
        self._asked: Question | None = None
        self._answered: set[int] = set()
        self._beat: Timer | None = None
        self._beat_at_s = 0.0
        self._picture: FramePicture | None = None
        self._picture_of = ""
        self._picture_s = 0.0
        self._go(0.0)
        if asked:
            self._play(True)

    # what the person does

    def act(self, intent: want.Intent) -> bool:
        """Do what concerns the replay; False when it is for somebody else."""
        if isinstance(intent, want.OfTheReplay):
            self._run(intent)
        elif isinstance(intent, ScrewTurned):
            self._answer(intent)
        elif isinstance(intent, NextAsked) and self.lesson is not None:
            self._leave_lesson()
            self._play(True)
        else:
            return False
        self._changed()
        return True

    def _run(self, intent: want.OfTheReplay) -> None:
        match intent:
            case want.PlayPause():
                self._play(not self.playing)
            case want.SetSpeed():
                self.speed = min(FASTEST, max(SLOWEST, intent.times))
            case want.Scrub():
                self._leave_lesson()
                self._go(intent.position_s)
            case want.StepEvent():
                self._play(False)
                self._step(intent.count)
            case want.TakeOver():
                self.trainee = not self.trainee
                self._leave_lesson()
            case _:
                assert_never(intent)

    def _play(self, on: bool) -> None:
        if on and self.position_s >= self.track.length_s:
            self._go(0.0)
        if on and self._asked is not None and self.lesson is not None and not self.lesson.verdict:
            return  # the question comes first
        self.playing = on
        if self._beat is not None:
            self._beat.cancel()
            self._beat = None
        if on:
            self._beat_at_s = self._means.clock.monotonic_s()
            self._beat = self._means.scheduler.after(BEAT_S, self._on_beat)

    def _on_beat(self) -> None:
        self._beat = None
        now_s = self._means.clock.monotonic_s()
        ahead_s = self.position_s + (now_s - self._beat_at_s) * self.speed
        self._beat_at_s = now_s
        question = self._next_question(ahead_s) if self.trainee else None
        if question is not None:
            self._go(question.t_s)
            self._ask(question)
        else:
            self._go(ahead_s)
        if self.playing and self.position_s < self.track.length_s:
            self._beat = self._means.scheduler.after(BEAT_S, self._on_beat)
        else:
            self.playing = False
        self._changed()

    def _step(self, count: int) -> None:
        self._leave_lesson()
        index = min(len(self.track.moments) - 1, max(0, self._index + count))
        self.position_s = self.track.moments[index].t_s
        self._arrive(index)

    def _go(self, position_s: float) -> None:
        self.position_s = min(self.track.length_s, max(0.0, position_s))
        self._arrive(self.track.index_at(self.position_s))

    def _arrive(self, index: int) -> None:
        self._index = index
        frame = self.moment.state.last_frame
        if frame is None or frame.name == self._picture_of:
            return
        self._picture_of = frame.name
        name, folder = frame.name, self.track.folder
        recorded = self.track.frames.get(name, NOTHING_RECORDED)
        self._picture_s = self.moment.state.last_frame_s or 0.0
        nights, read = self._means.data / "nights", self._means.read
        self._means.worker.ask(
            PICTURE, lambda: recorded_picture(name, recorded, folder, nights, read), self._on_picture
        )

    def _on_picture(self, done: Done) -> None:
        self._picture = done.result()
        self._changed()

    # the trainee

    def _next_question(self, ahead_s: float) -> Question | None:
        for number, question in enumerate(self.track.questions):
            if number not in self._answered and self.position_s <= question.t_s <= ahead_s:
                self._answered.add(number)
                return question
        return None

    def _ask(self, question: Question) -> None:
        self._asked = question
        self.lesson = Lesson(question.decision)
        self.playing = False

    def _answer(self, intent: ScrewTurned) -> None:
        if self._asked is None or intent.turns is None:
            return
        answer = Answer(intent.screw, intent.turns)
        verdict = judge(self._asked.decision, answer, self.track.rates)
        self.lesson = Lesson(self._asked.decision, answer, verdict, True)

    def _leave_lesson(self) -> None:
        self._asked, self.lesson = None, None

    # what is shown

    @property
    def moment(self) -> Moment:
        """Where the replay stands."""
        return self.track.moments[self._index]

    def view(self) -> View:
        """The night as it was."""
        moment = self.moment
        extras = Extras(
            now_s=moment.state.now_s + max(0.0, self.position_s - moment.t_s),
            title=f"Recorded night {self.track.folder.name}",
            news=FrameNews(0, self._picture_s, self._picture),
            history=self.track.history,
            position_s=self.position_s,
            magnetic=self.track.magnetic,
        )
        return replay_view(moment.state, moment.advice, extras, self._transport(), self.lesson)

    def _transport(self) -> tuple[float, float, float, bool, bool]:
        return self.position_s, self.track.length_s, self.speed, self.playing, self.trainee

    def close(self) -> list[str]:
        """Stop playing."""
        self._play(False)
        self._means.worker.forget(PICTURE)
        return []


def problem_text(problem: BaseException) -> str:
    """Why a recording could not be opened; anything unexpected is raised on."""
    if isinstance(problem, PolewrightError):
        return str(problem)
    raise problem


def recording_of(path: Path) -> Path:
    """The folder of a night, whichever of its files was chosen."""
    return path.parent if path.is_file() else path
