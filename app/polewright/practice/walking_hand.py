"""A person who walks the marker home: turns while looking, follows the cues, presses keys where nothing else does."""

from __future__ import annotations

import math

import numpy as np

from polewright.core.night import advice as said
from polewright.core.night.events import NOW, ScrewTurned
from polewright.core.screws.angles import Screw
from polewright.core.screws.walk import Cue
from polewright.practice.fingers import Habits
from polewright.practice.hand import Screen, Seat
from polewright.practice.told_hand import ToldHand
from polewright.words.numbers import number_text, sense_text

GLANCE_S, REACTION_S = (0.5, 1.0), (0.4, 0.9)
FASTEST, SLOW, SLOWEST = 0.5, 0.05, 0.02  # turns a second
STEP_S = 0.25  # a hand can be called off between two of these
TURN_ERROR, MOST_SIGMAS = 0.2, 2.5  # of the turn meant, as for every hand
UNKNOWN_TURNS = 0.25  # what is begun with where nobody knows how far
SMALL_TURNS = 1.0 / 12.0
TOUCH_TURNS, LEAST_TURNS, MOST_TURNS = 1.0 / 40.0, 1.0 / 360.0, 3.0
SHY, SHY_FAR, STILL_SHARE = 0.8, 0.6, 0.25  # of what the eye takes for the rest; less than that share of it was slack
SLACK_GROWTH = 1.2  # a touch that moved nothing took up slack: the next is larger
LOOKS_AFTER_S = 6.0  # after a turn, until two frames have shown what it did


class WalkingHand:
    """Satisfies Hand. What is not done at a screw is done as a told hand does it."""

    name, walks = "walking", True

    def __init__(self, seat: Seat, seed: int) -> None:
        self._seat = seat
        self._rng = np.random.default_rng([seed, 2718])
        self._told = ToldHand(seat, seed, Habits(forgets=0.0, wrong_way=0.0))
        self._screw = Screw.AZIMUTH
        self._left = self._speed = 0.0  # turns still meant, clockwise positive; turns a second, 0: the hand rests
        self._way = 1.0  # of the last turn
        self._sum = 0.0  # turned since it began
        self._ended_s = -math.inf
        self._seen: tuple[Screw, float, float] | None = None  # the last turn, clockwise positive, rad left before it
        self._worth: dict[Screw, float] = {}  # rad a turn, as the eye has seen
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
        if isinstance(why, said.Walking):
            self._follow(why, screen)
        elif isinstance(why, said.ScrewLeft) and why.walking:
            if self._free(screen):
                self._set_out(why.screw, why.turns, why.left_rad)
        elif self._speed and not isinstance(why, said.FramesFail):
            self._stop()

    def _follow(self, why: said.Walking, screen: Screen) -> None:
        match why.cue:
            case Cue.STOP | Cue.HANDS_OFF:
                self._stop()
            case Cue.OTHER_WAY:
                self._turn_round(why, screen)
            case Cue.SLOWER | Cue.CREEP:
                self._speed = min(self._speed, SLOW)
                if self._free(screen):
                    self._set_out(why.screw, self._amount(why, TOUCH_TURNS), why.left_rad)
            case Cue.KEEP_TURNING:
                if self._free(screen):
                    self._set_out(why.screw, self._amount(why, UNKNOWN_TURNS), why.left_rad)

    def _free(self, screen: Screen) -> bool:
        """Whether the hand rests, and the screen has had time to show what the last turn did."""
        return not self._speed and screen.now_s - self._ended_s > LOOKS_AFTER_S

    @staticmethod
    def _amount(why: said.Walking, unknown: float) -> float:
        return why.turns if why.known else math.copysign(unknown, why.turns)

    # the hand

    def _turn_round(self, why: said.Walking, screen: Screen) -> None:
        """The other way than the hand has just been turning; once for each time it is said."""
        if self._answered != screen.advice.errand:
            self._stop()
            self._answered = screen.advice.errand
            self._mean(why.screw, -self._way * UNKNOWN_TURNS, SLOW)

    def _set_out(self, screw: Screw, turns: float, left_rad: float) -> None:
        """Fast and far when far, touch by touch when near; as large as the last one was seen to need."""
        self._answered = None
        size = self._by_eye(screw, turns, left_rad)
        self._seen = (screw, math.copysign(size, turns), left_rad)
        self._mean(screw, math.copysign(size, turns), SLOWEST if size < SMALL_TURNS else min(FASTEST, 0.5 * size))

    def _by_eye(self, screw: Screw, turns: float, left_rad: float) -> float:
        """What is left, in terms of what turns of this screw were seen to do; never all of it at once."""
        way = turns
        last, turns = self._seen, abs(turns)
        if last is not None and last[0] is screw and last[1] * way > 0.0:  # after a reversal slack is no news
            made, moved = abs(last[1]), abs(last[2] - left_rad)
            if moved < STILL_SHARE * made * self._worth.get(screw, abs(last[2]) / MOST_TURNS):
                return min(self._fumbled(SLACK_GROWTH * made), MOST_TURNS)  # it took up slack
            self._worth[screw] = max(moved / made, self._worth.get(screw, 0.0))  # slack only hides some of it
        if screw in self._worth:
            rest = abs(left_rad) / self._worth[screw]
            turns = (SHY if rest < SMALL_TURNS else SHY_FAR) * rest
        return self._fumbled(min(max(turns, LEAST_TURNS), MOST_TURNS))

    def _fumbled(self, turns: float) -> float:
        return turns * (1.0 + TURN_ERROR * float(np.clip(self._rng.normal(), -MOST_SIGMAS, MOST_SIGMAS)))

    def _mean(self, screw: Screw, turns: float, speed: float) -> None:
        self._seat.tally.moves += 1
        self._seat.tell(f"turns {screw.value} {sense_text(turns)}, {number_text(abs(turns))} or so")
        self._screw, self._sum = screw, 0.0
        self._left, self._speed = turns, max(speed, SLOWEST)

    def _turn_on(self) -> None:
        """A quarter of a second of turning."""
        if self._speed:
            step = math.copysign(min(abs(self._left), self._speed * STEP_S), self._left)
            world = self._seat.world
            world.rig.turn(self._screw.value, step, world.now(), STEP_S)
            self._left -= step
            self._sum += step
            self._way = math.copysign(1.0, step)
            if abs(self._left) < 1e-9:
                self._part_done()
        self._seat.after(STEP_S, self._turn_on)

    def _part_done(self) -> None:
        self._stop()

    def _stop(self) -> None:
        if self._speed:
            self._ended_s = self._seat.look().now_s
            if self._seen is not None:
                self._seen = (self._seen[0], max(abs(self._sum), LEAST_TURNS), self._seen[2])
        self._left = self._speed = 0.0

    def _draw(self, between: tuple[float, float]) -> float:
        return float(self._rng.uniform(*between))


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

    def _free(self, screen: Screen) -> bool:
        return not self._pausing and super()._free(screen)

    def _mean(self, screw: Screw, turns: float, speed: float) -> None:
        count = int(self._rng.integers(self.parts[0], self.parts[1] + 1))
        count = min(count, max(1, round(abs(turns) / self.least_part_turns)))
        cuts = np.sort(self._rng.uniform(0.0, 1.0, count - 1))
        parts = [turns * float(share) for share in np.diff([0.0, *cuts, 1.0])]
        if self._rng.random() < self.wrong_way:
            parts[0] = -parts[0]
            self._seat.tally.wrong_moves += 1
        super()._mean(screw, parts[0], speed)
        self._rest = parts[1:]

    def _part_done(self) -> None:
        """A breather between two parts; after the last, perhaps a word."""
        speed, rest = self._speed, self._rest
        self._stop()
        if rest:
            self._rest, self._pausing = rest, True
            self._seat.after(self._draw(self.pause_s), lambda: self._go_on(speed))
        elif self._rng.random() < self.reports and abs(self._sum) > LEAST_TURNS:
            seen = self._sum * (1.0 + self.misread * float(self._rng.normal()))
            self._seat.press(ScrewTurned(NOW, self._screw, seen))

    def _go_on(self, speed: float) -> None:
        self._pausing = False
        if self._rest:
            self._left, self._speed = self._rest.pop(0), speed

    def _stop(self) -> None:
        self._rest = []
        self._pausing = False
        super()._stop()
