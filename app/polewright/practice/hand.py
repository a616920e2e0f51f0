"""A simulated hand at a rehearsed night: it sees what the screen shows, acts on the mount, and presses keys."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

from polewright.core.night.advice import Advice
from polewright.core.night.events import AnyEvent
from polewright.core.night.states import NightState
from polewright.practice.deeds import Deed, Done
from polewright.practice.world import RehearsalWorld
from polewright.runtime.engine import NightEngine


@dataclass(frozen=True)
class Screen:
    """What there is to see at a glance: the state behind the picture, the instruction, the time of the night."""

    state: NightState
    advice: Advice
    now_s: float


@dataclass(frozen=True)
class Told:
    """Something that a hand did, for the story."""

    at_s: float
    text: str


@dataclass
class Tally:
    """How often a hand moved a screw, and how often the wrong way."""

    moves: int = 0
    wrong_moves: int = 0


@dataclass
class Seat:
    """Where a hand sits: before the screen, at the keys, beside the mount. `on_deed` hears what it does."""

    world: RehearsalWorld
    engine: NightEngine
    start_camera: Callable[[], None]
    on_deed: Callable[[Told], None] = lambda told: None
    tally: Tally = field(default_factory=Tally)

    def look(self) -> Screen:
        """A glance at the screen."""
        return Screen(self.engine.state, self.engine.advice, self.engine.now_s())

    def press(self, event: AnyEvent) -> None:
        """Say something to the program."""
        self.engine.post(replace(event, at_s=self.engine.now_s()))

    def do(self, deed: Deed, remark: str = "") -> Done:
        """Do something to the mount, and tell it."""
        done = deed(self.world)
        self.tell(done.text + remark)
        return done

    def tell(self, text: str) -> None:
        """For the story."""
        self.on_deed(Told(self.engine.now_s(), text))

    def after(self, seconds: float, action: Callable[[], None]) -> None:
        """Later, in the night's own time."""
        self.world.clock.after(seconds, action)


class Hand(Protocol):
    """`finished`: nothing is left to do. `begin` sits down; from then on the hand looks by itself. `walks`: it likes
    the eye to lead it."""

    name: str
    walks: bool

    @property
    def finished(self) -> bool: ...

    def begin(self) -> None: ...


MakeHand = Callable[[Seat, int], Hand]
"""The hand of a seat, with a seed."""
