"""A person who does what the program says, and nothing else; with slow, imprecise and sometimes mistaken hands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from polewright.core.night import advice as said
from polewright.core.night.events import (
    BackAsked,
    BaseLocked,
    BaseUnlocked,
    LessonAsked,
    NextAsked,
    RestartAsked,
    ResumeAsked,
    ScrewTurned,
)
from polewright.core.screws.angles import Screw
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine
from polewright.words.numbers import number_text, sense_text

SET_UP_S, POINT_S, LOCK_S, CLUTCH_S = 90.0, 20.0, 10.0, 20.0
IMPATIENT_S = 90.0  # an instruction that still stands after so long is carried out once more
EAST_AGAIN_H = -2.0
COUNTED_TURNS = 2.0  # up to here nobody miscounts


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


@dataclass(frozen=True)
class Deed:
    """Something the person did: `text` for the story."""

    at_s: float
    text: str


class ToldHand:
    """Attributes: `finished`, once the program says that nothing is left to do; `deeds`."""

    def __init__(
        self,
        world: RehearsalWorld,
        engine: NightEngine,
        seed: int,
        habits: Habits | None = None,
        on_deed: Callable[[Deed], None] | None = None,
    ) -> None:
        self._world = world
        self._engine = engine
        self._habits = habits or Habits()
        self._rng = np.random.default_rng([seed, 4711])
        self.on_deed = on_deed or (lambda deed: None)
        self._start_camera: Callable[[], None] = lambda: None
        self._busy = False
        self._acted_key = ""
        self._acted_s = 0.0
        self.finished = False
        self.turns = {Screw.AZIMUTH: 0, Screw.ALTITUDE: 0}
        self.wrong_turns = 0
        self._taught: set[Screw] = set()

    def begin(self, start_camera: Callable[[], None]) -> None:
        """Start looking at the screen; the camera is started once it points somewhere."""
        self._start_camera = start_camera
        self._world.clock.after(self._habits.glance_s, self._glance)

    def _glance(self) -> None:
        advice = self._engine.advice
        if isinstance(advice.action, said.Done):
            self.finished = True
            return
        fresh = advice.key != self._acted_key or self._world.clock.monotonic_s() - self._acted_s > IMPATIENT_S
        if not self._busy and fresh and not isinstance(advice.action, said.Wait | said.RestoreFolder):
            self._busy = True
            delay_s = float(self._rng.uniform(*self._habits.reaction_s))
            self._world.clock.after(delay_s, lambda: self._act(advice))
        self._world.clock.after(self._habits.glance_s, self._glance)

    def _act(self, advice: said.Advice) -> None:
        if self._engine.advice.key != advice.key:  # the screen has changed while the hand moved
            self._busy = False
            return
        self._acted_key = advice.key
        deeds: dict[type, Callable[[said.Action], None]] = {
            said.SetUp: self._set_up,
            said.Turn: self._turn,
            said.RotateAxis: self._rotate,
            said.Point: self._point_elsewhere,
            said.Lock: self._lock,
            said.Unlock: self._unlock,
            said.Expose: self._expose,
            said.Refocus: lambda action: self._then(CLUTCH_S, "looks after the focus", lambda: None),
            said.TightenClutch: self._tighten_clutch,
            said.StartAgain: self._start_again,
            said.GoOn: lambda action: self._then(0.5, "goes on", lambda: self._say(NextAsked)),
            said.GoBack: lambda action: self._then(0.5, "goes back", lambda: self._say(BackAsked)),
            said.Resume: lambda action: self._then(0.5, "resumes", lambda: self._say(ResumeAsked)),
        }
        deeds[type(advice.action)](advice.action)

    # one deed each

    def _set_up(self, action: said.Action) -> None:
        def point() -> None:
            scenario = self._world.rig.night.scenario
            self._point(scenario.hour_angle_h, go_on)

        def go_on() -> None:
            self._start_camera()
            self._say(NextAsked)

        self._then(SET_UP_S, "stands the mount up and switches it on", point, last=False)

    def _point(self, hour_angle_h: float, afterwards: Callable[[], None]) -> None:
        rig, now = self._world.rig, self._world.now()
        side = -1.0 if rig.night.southern else 1.0
        declination = side * rig.night.scenario.declination_toward_pole_deg
        done = rig.point(hour_angle_h, declination, now)
        rig.set_tracking(True, done)
        where = f"points the camera {_place_text(hour_angle_h)}, declination {declination:+.0f}°"
        self._then(max(POINT_S, self._world.seconds_until(done)), where, afterwards)

    def _turn(self, action: said.Action) -> None:
        assert isinstance(action, said.Turn)
        habits = self._habits
        if habits.lessons and action.screw not in self._taught:
            self._taught.add(action.screw)
            ask = partial(self._say, LessonAsked, screw=action.screw)
            self._then(0.5, f"asks for a lesson on the {action.screw.value} screw", ask)
            return
        error = float(
            np.clip(self._rng.normal(0.0, habits.turn_error), -2.5 * habits.turn_error, 2.5 * habits.turn_error)
        )
        wrong = bool(self._rng.random() < habits.wrong_way)
        meant_turns = action.turns * (1.0 + error)
        done_turns = meant_turns * (-1.0 if wrong else 1.0)
        self.turns[action.screw] += 1
        self.wrong_turns += wrong
        done = self._world.rig.turn(action.screw.value, done_turns, self._world.now())
        amount = f"{number_text(abs(done_turns))} {sense_text(done_turns)}"
        text = f"turns {action.screw.value} {amount}{', the wrong way' if wrong else ''}"
        said_turns, forgotten = self._read_off(meant_turns), self._rng.random() < habits.forgets
        report = lambda: self._say(ScrewTurned, screw=action.screw, turns=said_turns)  # noqa: E731
        self._then(self._world.seconds_until(done) + 1.0, text, (lambda: None) if forgotten else report)

    def _read_off(self, turns: float) -> float | None:
        """What the person takes the turn for after a look at the screw head."""
        habits = self._habits
        if habits.reading_error is None:
            return None
        misread = habits.reading_error * min(abs(turns), 1.0) * float(self._rng.normal())
        floor = habits.reading_floor_turns * float(self._rng.normal())
        miscounted = abs(turns) > COUNTED_TURNS and float(self._rng.random()) < habits.miscounts
        return turns + misread + floor + (float(self._rng.choice([-1.0, 1.0])) if miscounted else 0.0)

    def _rotate(self, action: said.Action) -> None:
        assert isinstance(action, said.RotateAxis)
        west_deg = action.west_deg * (1.0 + float(self._rng.normal(0.0, self._habits.rotation_error)))
        done = self._world.rig.rotate_ra(west_deg, self._world.now())
        way = "west" if west_deg > 0.0 else "east"
        text = f"rotates the RA axis {abs(west_deg):.0f}° {way}"
        self._then(self._world.seconds_until(done), text, lambda: None)

    def _point_elsewhere(self, action: said.Action) -> None:
        assert isinstance(action, said.Point)
        rig, now = self._world.rig, self._world.now()
        done = rig.point(action.hour_angle_h, action.declination_deg, now)
        rig.set_tracking(True, done)
        where = f"points {_place_text(action.hour_angle_h)}, declination {action.declination_deg:+.0f}°"
        self._then(max(POINT_S, self._world.seconds_until(done)), where, lambda: None)

    def _lock(self, action: said.Action) -> None:
        """The locks are tight some seconds before the person says so: frames have seen it by then."""

        def tighten() -> None:
            self._world.rig.tighten(self._world.now())

        self._world.clock.after(0.5 * LOCK_S, tighten)
        self._then(LOCK_S, "tightens the locks", lambda: self._say(BaseLocked))

    def _unlock(self, action: said.Action) -> None:
        self._then(LOCK_S, "loosens the locks a little", lambda: self._say(BaseUnlocked))

    def _expose(self, action: said.Action) -> None:
        assert isinstance(action, said.Expose)
        self._world.change_exposure(action.factor)
        self._then(3.0, f"exposes {self._world.exposure_s:g} s", lambda: None)

    def _tighten_clutch(self, action: said.Action) -> None:
        self._world.tighten_clutch()
        self._then(CLUTCH_S, "tightens the declination clutch and starts again", lambda: self._say(RestartAsked))

    def _start_again(self, action: said.Action) -> None:
        self._point(EAST_AGAIN_H, lambda: self._say(RestartAsked))

    def _say(self, kind: type, **details: object) -> None:
        self._engine.post(kind(self._engine.now_s(), **details))

    def _then(self, seconds: float, text: str, afterwards: Callable[[], None], last: bool = True) -> None:
        """The deed takes `seconds`; `afterwards` ends it, and the person looks at the screen again."""
        self.on_deed(Deed(self._engine.now_s(), text))

        def end() -> None:
            if last:
                self._busy = False
                self._acted_s = self._world.clock.monotonic_s()
            afterwards()

        self._world.clock.after(seconds, end)


def _place_text(hour_angle_h: float) -> str:
    """`to the meridian`, `1.5 h east of the meridian`."""
    if abs(hour_angle_h) < 0.05:
        return "to the meridian"
    return f"{abs(hour_angle_h):.1f} h {'west' if hour_angle_h > 0.0 else 'east'} of the meridian"
