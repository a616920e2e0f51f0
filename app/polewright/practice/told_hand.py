"""A person who does what the program says, and nothing else; with slow, imprecise and sometimes mistaken hands."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from polewright.core.night import advice as said
from polewright.core.night.events import NOW, LessonAsked, NextAsked
from polewright.core.screws.angles import Screw
from polewright.practice import deeds
from polewright.practice.fingers import Answer, Fingers, Habits
from polewright.practice.hand import Seat

IMPATIENT_S = 90.0  # an instruction that still stands after so long is carried out once more
Takes = Callable[[said.Advice], bool]


class ToldHand:
    """Satisfies Hand. Glances, reacts after a while, does one thing at a time (`busy`), and says it as people do."""

    name, walks = "told", False

    def __init__(self, seat: Seat, seed: int, habits: Habits | None = None) -> None:
        self._seat = seat
        self._habits = habits or Habits()
        self._rng = np.random.default_rng([seed, 4711])
        self._fingers = Fingers(self._habits, self._rng)
        self.busy = False
        self._acted: said.Errand | None = None
        self._acted_s = 0.0
        self._taught: set[Screw] = set()
        self._takes: Takes = lambda advice: True
        self.finished = False

    def begin(self, takes: Takes | None = None) -> None:
        """Start looking at the screen; the camera is started once it points somewhere. `takes`: the instructions that
        are this hand's; others are left alone."""
        self._takes = takes or self._takes
        self._seat.after(self._habits.glance_s, self._glance)

    def _glance(self) -> None:
        screen = self._seat.look()
        if isinstance(screen.advice.action, said.Done):
            self.finished = True
            return
        fresh = screen.advice.errand != self._acted or screen.now_s - self._acted_s > IMPATIENT_S
        idle = _nothing_to_do(screen.advice.action) or not self._takes(screen.advice)
        if not self.busy and fresh and not idle:
            self.busy = True
            self._seat.after(float(self._rng.uniform(*self._habits.reaction_s)), lambda: self._act(screen.advice))
        self._seat.after(self._habits.glance_s, self._glance)

    def _act(self, advice: said.Advice) -> None:
        if self._seat.look().advice.errand != advice.errand:  # the screen has changed while the hand moved
            self.busy = False
            return
        self._acted = advice.errand
        action = advice.action
        if isinstance(action, said.SetUp):
            self._set_up()
        elif isinstance(action, said.Turn) and self._habits.lessons and action.screw not in self._taught:
            self._ask_for_a_lesson(action.screw)
        elif (answer := self._fingers.answer(action)) is not None:
            self._carry_out(answer)
        else:
            self.busy = False

    def _carry_out(self, answer: Answer) -> None:
        self._seat.tally.moves += answer.moved != 0.0
        self._seat.tally.wrong_moves += answer.wrong_way
        done = self._seat.do(answer.deed, ", the wrong way" if answer.wrong_way else "")
        self._end_after(done.seconds, lambda: None if answer.says is None else self._seat.press(answer.says))

    def _ask_for_a_lesson(self, screw: Screw) -> None:
        self._taught.add(screw)
        self._seat.tell(f"asks for a lesson on the {screw.value} screw")
        self._end_after(deeds.PRESS_S, lambda: self._seat.press(LessonAsked(NOW, screw)))

    def _set_up(self) -> None:
        self._seat.tell("sets the mount up and switches it on")

        def point() -> None:
            done = self._seat.do(deeds.point_camera(self._seat.world.first_hour_angle_h))
            self._end_after(done.seconds, go_on)

        def go_on() -> None:
            self._seat.start_camera()
            self._seat.press(NextAsked(NOW))

        self._seat.after(deeds.SET_UP_S, point)

    def _end_after(self, seconds: float, afterwards: Callable[[], None]) -> None:
        """The deed is over then, and the person looks at the screen again."""

        def end() -> None:
            self.busy = False
            self._acted_s = self._seat.look().now_s
            afterwards()

        self._seat.after(seconds, end)


def _nothing_to_do(action: said.Action) -> bool:
    return isinstance(action, said.Wait) or action is said.Do.RESTORE_FOLDER
