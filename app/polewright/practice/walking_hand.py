"""A person who walks the marker home: turns while looking, follows the cues, presses keys where nothing else does."""

from __future__ import annotations

import math

import numpy as np

from polewright.core.night import advice as said
from polewright.core.night.events import NOW, ScrewTurned
from polewright.core.night.states import Running
from polewright.core.screws.angles import Screw
from polewright.core.screws.walk import Cue
from polewright.practice.eye import Eye
from polewright.practice.fingers import Habits
from polewright.practice.hand import Screen, Seat
from polewright.practice.told_hand import ToldHand
from polewright.words.numbers import number_text, sense_text

GLANCE_S, REACTION_S = (0.5, 1.0), (0.4, 0.9)
FASTEST, SLOW, SLOWEST = 0.5, 0.05, 0.02  # turns a second
TURN_S = 1.5  # what a hand takes for one turning of the wrist
STEP_S = 0.25  # a hand can be called off between two of these
TURN_ERROR, MOST_SIGMAS = 0.2, 2.5  # of the turn meant, as for every hand
ROUND_TURNS = 1.0 / 12.0  # the first turning back after "the other way"
LOOKS_FRAMES, LOOKS_S = 2, 1.5  # so many frames, and at least so long, show what a turn has done


class WalkingHand:
    """Satisfies Hand. What is not done at a screw is done as a told hand does it."""

    name, walks = "walking", True

    def __init__(self, seat: Seat, seed: int) -> None:
        self._seat = seat
        self._rng = np.random.default_rng([seed, 2718])
        self._told = ToldHand(seat, seed, Habits(forgets=0.0, wrong_way=0.0))
        self._eye = Eye()
        self._screw = Screw.AZIMUTH
        self._left = self._speed = 0.0  # turns still meant, clockwise positive; turns a second, 0: the hand rests
        self._way = 1.0  # of the last turn
        self._ended_s, self._ended_frames = -math.inf, 0
        self._answered: said.Errand | None = None

    @property
    def finished(self) -> bool:
        """The program says that nothing is left to do."""
        return self._told.finished

    def begin(self) -> None:
        """Start looking at the screen."""
        self._told.begin(takes=lambda advice: not at_a_screw(advice.reason))
        self._seat.after(self._draw(GLANCE_S), self._glance)
        self._seat.after(STEP_S, self._turn_on)

    # the eye

    def _glance(self) -> None:
        screen = self._seat.look()
        self._seat.after(self._draw(REACTION_S), lambda: self._react(screen))
        self._seat.after(self._draw(GLANCE_S), self._glance)

    def _react(self, screen: Screen) -> None:
        why = screen.advice.reason
        if self._free(screen):
            self._see(self._screw, screen)
        if self._told.busy:  # both hands are at the locks, and then come back
            self._stop()
            self._ended_s, self._ended_frames = self._seat.look().now_s, _frames(screen)
        elif isinstance(why, said.Walking):
            self._follow(why, screen)
        elif isinstance(why, said.ScrewLeft) and why.walking:
            self._begin_turn(why, screen)
        elif self._speed and not isinstance(why, said.FramesFail):
            self._stop()

    def _begin_turn(self, why: said.ScrewLeft, screen: Screen) -> None:
        if self._speed and (self._screw is not why.screw or self._left * why.turns < 0.0):
            self._stop()
        if self._free(screen):
            self._set_out(why, screen)

    def _follow(self, why: said.Walking, screen: Screen) -> None:
        match why.cue:
            case Cue.STOP | Cue.HANDS_OFF:
                self._stop()
            case Cue.OTHER_WAY:
                self._turn_round(why, screen)
            case Cue.SLOWER:
                self._speed = min(self._speed, SLOW)
            case Cue.KEEP_TURNING | Cue.CREEP | Cue.SEEK:
                if self._free(screen):
                    self._set_out(why, screen)

    def _free(self, screen: Screen) -> bool:
        """Whether the hand rests, and the screen has had time to show what the last turn did."""
        shown = _frames(screen) - self._ended_frames >= LOOKS_FRAMES
        return not self._speed and shown and screen.now_s - self._ended_s > LOOKS_S

    def _see(self, screw: Screw, screen: Screen) -> None:
        """Where the marker stands, as soon as the last turn has shown: later the locks may have moved it as well."""
        state = screen.state
        left_rad = state.left_rad(screw) if isinstance(state, Running) else None
        if left_rad is not None:
            self._eye.look(screw, left_rad)

    # the hand

    def _turn_round(self, why: said.Walking, screen: Screen) -> None:
        """The other way than the hand has just been turning; once for each time it is said."""
        if self._answered != screen.advice.errand:
            self._stop()
            self._answered = screen.advice.errand
            self._see(why.screw, screen)
            way = math.copysign(1.0, why.turns) if why.sure_way else -self._way
            self._mean(why.screw, way * ROUND_TURNS)

    def _set_out(self, why: said.Walking | said.ScrewLeft, screen: Screen) -> None:
        """As much as is left by what the eye has seen of this screw, or by what the screen says."""
        self._answered = None
        turns = why.turns if why.known else math.copysign(0.0, self._way_on(why))
        self._see(why.screw, screen)
        size = self._eye.turns(why.screw, math.copysign(1.0, turns), abs(turns))
        fumbled = 1.0 + TURN_ERROR * float(np.clip(self._rng.normal(), -MOST_SIGMAS, MOST_SIGMAS))
        self._mean(why.screw, math.copysign(size * fumbled, turns))

    def _way_on(self, why: said.Walking | said.ScrewLeft) -> float:
        """The way that is asked for; on as before, where the screen leaves it at that."""
        on = isinstance(why, said.Walking) and why.cue is not Cue.SEEK and not why.sure_way
        return self._way if on else why.turns

    def _mean(self, screw: Screw, turns: float) -> None:
        self._seat.tally.moves += 1
        self._seat.tell(f"turns {screw.value} {sense_text(turns)}, {number_text(abs(turns))} or so")
        self._screw, self._left = screw, turns
        self._speed = min(max(abs(turns) / TURN_S, SLOWEST), FASTEST)

    def _turn_on(self) -> None:
        """A quarter of a second of turning."""
        if self._speed:
            step = math.copysign(min(abs(self._left), self._speed * STEP_S), self._left)
            world = self._seat.world
            world.rig.turn(self._screw.value, step, world.now(), STEP_S)
            self._left -= step
            self._turned(step)
            if abs(self._left) < 1e-9:
                self._part_done()
        self._seat.after(STEP_S, self._turn_on)

    def _turned(self, step: float) -> None:
        """So much of a turn was made just now."""
        self._way = math.copysign(1.0, step)
        self._eye.made(self._screw, step)

    def _part_done(self) -> None:
        self._stop()

    def _stop(self) -> None:
        if self._speed:
            screen = self._seat.look()
            self._ended_s, self._ended_frames = screen.now_s, _frames(screen)
        self._left = self._speed = 0.0

    def _draw(self, between: tuple[float, float]) -> float:
        return float(self._rng.uniform(*between))


def _frames(screen: Screen) -> int:
    """How many frames have come so far."""
    return screen.state.frames_used + screen.state.frames_unsolved


def at_a_screw(why: said.Reason) -> bool:
    """Whether a hand is asked to a screw by the eye."""
    return isinstance(why, said.Walking) or (isinstance(why, said.ScrewLeft) and why.walking)


class HaltingHand(WalkingHand):
    """Makes each turn in parts with pauses, begins the wrong way now and then, and says half of what it did."""

    name = "halting"
    parts, pause_s = (2, 8), (3.0, 20.0)
    least_part_turns = 1.0 / 48.0  # nobody divides a touch
    wrong_way, reports, misread = 0.1, 0.5, 0.03

    def __init__(self, seat: Seat, seed: int) -> None:
        super().__init__(seat, seed)
        self._rest: list[float] = []
        self._pausing = False
        self._turn: object = None  # the turn that was asked for at rest
        self._sum = 0.0  # what was made of it so far, and not said yet

    def _free(self, screen: Screen) -> bool:
        return not self._pausing and super()._free(screen)

    def _begin_turn(self, why: said.ScrewLeft, screen: Screen) -> None:
        asked = (why.screw, why.made, why.turns > 0.0)
        if asked != self._turn and self._free(screen):
            self._sum = 0.0
            self._turn_begins(asked, why, screen)
        else:
            super()._begin_turn(why, screen)

    def _turn_begins(self, asked: object, why: said.ScrewLeft, screen: Screen) -> None:
        self._turn = asked
        super()._begin_turn(why, screen)
        self._divide()

    def _divide(self) -> None:
        """The turn that the hand has just set out for, in parts."""
        turns = self._left
        count = int(self._rng.integers(self.parts[0], self.parts[1] + 1))
        count = min(count, max(1, round(abs(turns) / self.least_part_turns)))
        cuts = np.sort(self._rng.uniform(0.0, 1.0, count - 1))
        parts = [turns * float(share) for share in np.diff([0.0, *cuts, 1.0])]
        if self._rng.random() < self.wrong_way:
            parts[0] = -parts[0]
            self._seat.tally.wrong_moves += 1
        self._left, self._rest = parts[0], parts[1:]

    def _part_done(self) -> None:
        """A breather between two parts; after the last, perhaps a word."""
        speed, rest = self._speed, self._rest
        self._stop()
        if rest:
            self._rest, self._pausing = rest, True
            self._seat.after(self._draw(self.pause_s), lambda: self._go_on(speed))
        elif self._rng.random() < self.reports and abs(self._sum) > self.least_part_turns:
            seen = self._sum * (1.0 + self.misread * float(self._rng.normal()))
            self._sum = 0.0
            self._seat.press(ScrewTurned(NOW, self._screw, seen))

    def _turned(self, step: float) -> None:
        super()._turned(step)
        self._sum += step

    def _go_on(self, speed: float) -> None:
        self._pausing = False
        if self._rest:
            self._left, self._speed = self._rest.pop(0), speed

    def _stop(self) -> None:
        self._rest = []
        self._pausing = False
        super()._stop()
