"""The eye of a simulated hand: after a reversal it neither runs away nor stands still. Our own rules: no source."""

from __future__ import annotations

import math

import pytest

from polewright.core.screws.angles import Screw
from polewright.practice.eye import MOST_TURNS, Eye

ARCMIN = math.radians(1.0 / 60.0)


class Paper:
    """A screw on paper: what is left to the aim (arcmin, turns clockwise lower it), a rate and a play."""

    def __init__(self, left: float, rate: float, play: float) -> None:
        self.left, self.rate, self.play = left, rate, play
        self.slack = play  # to be crossed before a clockwise turn moves anything
        self.eye, self.furthest = Eye(), 0.0

    def turn(self, size: float, way: float) -> None:
        before = self.slack
        self.slack = min(max(self.slack - way * size, 0.0), self.play)
        engaged = size - abs(self.slack - before)
        self.left -= way * engaged * self.rate
        self.furthest = max(self.furthest, -self.left)
        self.eye.made(Screw.AZIMUTH, way * size)

    def walk(self, close: float, fumble: float, most: int = 60) -> int:
        """Turns until it is near enough."""
        for count in range(most):
            if abs(self.left) <= close:
                return count
            self.eye.look(Screw.AZIMUTH, self.left * ARCMIN)
            way = math.copysign(1.0, self.left)
            self.turn(self.eye.turns(Screw.AZIMUTH, way, 0.0) * fumble, way)
        raise AssertionError(f"{self.left} left after {most} turns")


@pytest.mark.parametrize("rate", [15.0, 40.0, 120.0])
@pytest.mark.parametrize("play", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("fumble", [0.8, 1.0, 1.2])
def test_it_comes_home_in_few_turns_also_after_a_reversal(rate: float, play: float, fumble: float) -> None:
    paper = Paper(40.0, rate, play)
    close = max(0.5, rate / 90.0)  # no hand stops better than within some degrees of the head
    first = paper.walk(close, fumble)
    paper.left = -3.0 * close  # the aim has shifted to the other side
    again = paper.walk(close, fumble)
    assert first <= 25 and again <= 25
    assert paper.furthest <= 40.0


def test_a_reversal_does_not_make_it_run_away() -> None:
    """All of a touch was lost in the play: the next is a little larger, never a whole turn."""
    paper = Paper(40.0, 40.0, 0.3)
    paper.walk(0.5, 0.8)
    assert paper.slack == 0.0
    paper.left = -1.0
    sizes = []
    while paper.slack < paper.play:
        paper.eye.look(Screw.AZIMUTH, paper.left * ARCMIN)
        sizes.append(paper.eye.turns(Screw.AZIMUTH, -1.0, 0.0))
        paper.turn(sizes[-1], -1.0)
    assert sizes[0] <= 1.0 / 24.0 and max(sizes) <= 0.15 < MOST_TURNS


def test_the_play_that_was_seen_is_crossed_at_once_the_next_time() -> None:
    paper = Paper(40.0, 40.0, 0.2)
    paper.walk(0.5, 0.8)
    counts = []
    for left in (-2.0, 2.0):
        assert paper.slack == (0.0 if left < 0.0 else paper.play)
        paper.left = left
        counts.append(paper.walk(0.5, 0.8))
    assert counts[1] < counts[0]
