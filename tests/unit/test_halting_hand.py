"""What the halting simulated hand says of its turns is what it did. Our own rules: no source."""

from __future__ import annotations

from typing import Any, cast

import pytest

from polewright.core.night.events import ScrewTurned
from polewright.core.screws.angles import Screw
from polewright.practice.hand import Seat, Tally
from polewright.practice.walking_hand import HaltingHand


class Bench:
    """World, rig, clock, engine and screen in one, as far as a hand turns a screw and presses a key."""

    def __init__(self) -> None:
        self.turned, self.said, self.later = 0.0, [], []  # type: ignore[var-annotated]
        self.world = self.rig = self.clock = self.engine = self
        self.advice, self.state = None, self
        self.frames_used = self.frames_unsolved = 0
        self.tally = Tally()

    def now(self) -> None: ...

    def now_s(self) -> float:
        return 0.0

    def turn(self, screw: str, turns: float, at: object, seconds: float) -> None:
        self.turned += turns

    def post(self, event: object) -> None:
        self.said.append(event)


class Talkative(HaltingHand):
    """Reports every turn, reads it exactly, begins the right way."""

    reports, misread, wrong_way = 1.0, 0.0, 0.0


@pytest.mark.parametrize("turns", [0.05, 0.3, -0.9])
def test_the_number_told_is_the_sum_of_all_parts(turns: float) -> None:
    bench = Bench()
    seat = Seat(cast("Any", bench), cast("Any", bench), lambda: None)
    seat.after = lambda seconds, action: bench.later.append(action)  # type: ignore[method-assign]
    hand = Talkative(seat, 3)
    hand._mean(Screw.AZIMUTH, turns)
    hand._divide()
    bench.later.append(hand._turn_on)
    while bench.later and not bench.said:
        bench.later.pop(0)()
    (said,) = bench.said
    assert isinstance(said, ScrewTurned)
    assert said.turns == pytest.approx(turns) == pytest.approx(bench.turned)
