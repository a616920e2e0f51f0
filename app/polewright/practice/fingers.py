"""What a hand does about an instruction: the deed, as well as fingers can do it, and what is said of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

import numpy as np

from polewright.core.night import advice as said
from polewright.core.night import events
from polewright.core.night.events import NOW
from polewright.practice import deeds
from polewright.practice.deeds import Deed

COUNTED_TURNS = 2.0  # up to here nobody miscounts
MOST_SIGMAS = 2.5  # nobody errs by more


@dataclass(frozen=True)
class Habits:
    """How good the hands are: `turn_error` is one sigma of a turn, as a share of it.

    `reading_error`: the same of a turn read off the head of the screw, None for a person who says "as told"; of the
    last turn only, because whole turns are counted (common practice, no source), with `miscounts` of those beyond two
    turns off by a whole one.
    `forgets`: the share of turns that are not reported. `lessons`: asks for a lesson on each screw. A turn the wrong
    way goes unnoticed.
    """

    turn_error: float = 0.20
    reading_error: float | None = 0.03
    reading_floor_turns: float = 1.0 / 120.0
    miscounts: float = 0.02
    forgets: float = 0.05
    lessons: bool = False
    rotation_error: float = 0.05
    wrong_way: float = 0.04
    reaction_s: tuple[float, float] = (2.0, 6.0)
    glance_s: float = 1.0


CAREFUL = Habits(turn_error=0.08, miscounts=0.0, forgets=0.0, rotation_error=0.0, wrong_way=0.0)
"""Hands that one watches on the screen while one learns: a mistake of theirs would teach nothing."""


@dataclass(frozen=True)
class Answer:
    """What is done, and what is said afterwards (None: nothing). `moved`: turns really made, 0 but for a turn."""

    deed: Deed
    says: events.AnyEvent | None = None
    moved: float = 0.0
    wrong_way: bool = False


class Fingers:
    """Hands of these habits."""

    def __init__(self, habits: Habits, rng: np.random.Generator) -> None:
        self.habits = habits
        self._rng = rng

    def answer(self, action: said.Action) -> Answer | None:
        """What to do about an instruction; None where there is nothing to do but wait, or only a person can."""
        match action:
            case said.Turn():
                return self._turn(action)
            case said.RotateAxis():
                error = float(self._rng.normal(0.0, self.habits.rotation_error))
                return Answer(deeds.rotate_axis(action.west_deg * (1.0 + error)))
            case said.Point():
                return Answer(deeds.point_to(action.hour_angle_h, action.declination_deg))
            case said.Do.LOCK:  # tight some seconds before it is said: frames have seen it by then
                return Answer(deeds.tighten_locks(0.5 * deeds.LOCK_S), events.BaseLocked(NOW))
            case said.Do.UNLOCK:
                return Answer(deeds.loosen_locks, events.BaseUnlocked(NOW))
            case said.Expose():
                return Answer(deeds.expose(action.factor))
            case said.Do.REFOCUS:
                return Answer(deeds.refocus)
            case said.Do.TIGHTEN_CLUTCH:
                return Answer(deeds.tighten_clutch, events.RestartAsked(NOW))
            case said.Do.START_AGAIN:
                return Answer(deeds.point_camera(deeds.EAST_AGAIN_H), events.RestartAsked(NOW))
            case said.SetUp() | said.Do.GO_ON:
                return Answer(deeds.press("goes on"), events.NextAsked(NOW))
            case said.Do.ACCEPT:
                return Answer(deeds.press("takes it as it is"), events.Accepted(NOW))
            case said.Do.ANSWER:
                return Answer(deeds.press("says that guiding is off"), events.GuidingTold(NOW, off=True))
            case said.Do.NUDGE:
                return Answer(deeds.nudge_declination, events.DeclinationNudged(NOW))
            case said.Do.GO_BACK:
                return Answer(deeds.press("goes back"), events.BackAsked(NOW))
            case said.Do.RESUME:
                return Answer(deeds.press("resumes"), events.ResumeAsked(NOW))
            case said.Wait() | said.Do.RESTORE_FOLDER | said.Do.ENTER_SITE | said.Do.MEASURE_AGAIN | said.Done():
                return None
            case _:
                assert_never(action)

    def _turn(self, turn: said.Turn) -> Answer:
        most = MOST_SIGMAS * self.habits.turn_error
        error = float(np.clip(self._rng.normal(0.0, self.habits.turn_error), -most, most))
        wrong = bool(self._rng.random() < self.habits.wrong_way)
        meant = turn.turns * (1.0 + error)
        made = -meant if wrong else meant
        seen, forgotten = self._read_off(meant), self._rng.random() < self.habits.forgets
        report = None if forgotten else events.ScrewTurned(NOW, turn.screw, seen)
        return Answer(deeds.turn_screw(turn.screw, made), report, moved=made, wrong_way=wrong)

    def _read_off(self, turns: float) -> float | None:
        """What the person takes the turn for after a look at the screw head."""
        habits = self.habits
        if habits.reading_error is None:
            return None
        misread = habits.reading_error * min(abs(turns), 1.0) * float(self._rng.normal())
        floor = habits.reading_floor_turns * float(self._rng.normal())
        miscounted = abs(turns) > COUNTED_TURNS and float(self._rng.random()) < habits.miscounts
        return turns + misread + floor + (float(self._rng.choice([-1.0, 1.0])) if miscounted else 0.0)


def by_hand(action: said.Action) -> bool:
    """Whether simulated hands can do it: everything but waiting, a decision, and what lies outside the mount."""
    elsewhere = (said.Do.ANSWER, said.Do.RESTORE_FOLDER, said.Do.ENTER_SITE, said.Do.MEASURE_AGAIN, said.Do.RESUME)
    return action not in elsewhere and not isinstance(action, said.Wait | said.Done)
