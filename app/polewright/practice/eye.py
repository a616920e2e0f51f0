"""What a simulated hand's eye makes of a screw: what a turn of it does, how much play it has, how much is left."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from polewright.core.screws.angles import Screw

SHY = 0.8  # of what the eye takes for the rest: going too far costs a reversal
BOLDER = 2.5  # as many times as far as last time, and no farther, while only one look has shown what it does
SHY_PLAY = 0.75  # the same of the play that a reversal was seen to have
LEAST_TURNS, MOST_TURNS = 1.0 / 120.0, 1.0  # three degrees of the head; a hand looks again after a turn
TOUCH_TURNS = 1.0 / 60.0  # less of the play than that is left to touches
SLACK_TURNS = 1.0 / 24.0  # at most, with one touch, while nothing moves and the aim is near
GROWTH = 1.6  # each touch that moves nothing is larger than the one before
KNOWN_PLAY, OVER = 1.5, 1.5  # but up to so much of the play seen, no touch that could go so far beyond what is left
FAR_RAD, NEAR_RAD = math.radians(30.0 / 60.0), math.radians(8.0 / 60.0)
FIRST_TURNS = {FAR_RAD: 1.0 / 4.0, NEAR_RAD: 1.0 / 8.0, 0.0: 1.0 / 36.0}  # where nothing is known, by what is left
STILL_RAD = math.radians(4.0 / 3600.0)  # a marker that moved less has not moved for the eye


@dataclass
class _Seen:
    """One screw. `worth`: rad a turn, 0 unknown; `play`: turns lost at a reversal, 0 unknown; `engaged`: the way
    in which it moves at once, 0 unknown; `lost`: turned without effect since it last moved; `touch`: the last such
    touch; `left_rad`, `made`: at the last look, and turned since; `last`: what the last motion took; `sure`: the
    worth is that of a turn without slack; `jump`: the play seen before was crossed at once."""

    worth: float = 0.0
    play: float = 0.0
    engaged: float = 0.0
    lost: float = 0.0
    touch: float = 0.0
    left_rad: float = math.nan
    made: float = 0.0
    last: float = 0.0
    sure: bool = False
    jump: bool = False


@dataclass
class Eye:
    """Looks at the marker between two turns."""

    _seen: dict[Screw, _Seen] = field(default_factory=lambda: {screw: _Seen() for screw in Screw})

    def made(self, screw: Screw, turns: float) -> None:
        """So much was turned, clockwise positive."""
        self._seen[screw].made += turns

    def look(self, screw: Screw, left_rad: float) -> None:
        """The marker now, that much from the aim: what did the turns since the last look do?"""
        seen = self._seen[screw]
        made, moved = seen.made, abs(left_rad - seen.left_rad)
        seen.made, seen.left_rad = 0.0, left_rad
        if not made or math.isnan(moved):
            return
        if moved < STILL_RAD:
            seen.lost += made
            seen.touch = 0.0 if seen.jump else abs(made)
        else:
            self._moved(seen, made, moved)

    @staticmethod
    def _moved(seen: _Seen, made: float, moved: float) -> None:
        way, rate = math.copysign(1.0, made), moved / abs(made)
        if seen.engaged == way and not seen.lost:
            seen.worth, seen.sure = rate, True
        else:
            seen.worth = max(rate, seen.worth)  # slack has hidden some of it
            if seen.sure and seen.engaged == -way:
                seen.play = max(abs(seen.lost + made) - moved / seen.worth, LEAST_TURNS)
        seen.last = abs(made)
        seen.engaged, seen.lost, seen.touch = way, 0.0, 0.0

    def turns(self, screw: Screw, way: float, said: float) -> float:
        """How far to turn that way now, turns. `said`: what the screen says, 0 for nothing."""
        seen = self._seen[screw]
        rest = said if not seen.worth else abs(seen.left_rad) / seen.worth
        size = SHY * rest if rest else self._first(seen)
        if seen.engaged != way or seen.lost:
            size = self._in_the_slack(seen, way, size)
        elif not seen.sure:
            size = min(size, BOLDER * seen.last)
        return min(max(size, LEAST_TURNS), MOST_TURNS)

    @staticmethod
    def _in_the_slack(seen: _Seen, way: float, size: float) -> float:
        """Most of the play that was seen before, at once; then by touches that grow."""
        ahead = SHY_PLAY * (seen.play - way * seen.lost)
        seen.jump = ahead > TOUCH_TURNS
        if seen.jump:
            return ahead
        if not seen.worth:
            return max(size, GROWTH * seen.touch)
        return max(min(size, SLACK_TURNS), min(GROWTH * seen.touch, Eye._no_farther(seen)))

    @staticmethod
    def _no_farther(seen: _Seen) -> float:
        """The largest touch while the end of the slack is near: any may be the one that moves the marker."""
        near = seen.sure and seen.play and abs(seen.lost) < KNOWN_PLAY * seen.play
        return OVER * abs(seen.left_rad) / seen.worth if near else math.inf

    @staticmethod
    def _first(seen: _Seen) -> float:
        return next(size for left, size in FIRST_TURNS.items() if abs(seen.left_rad) >= left)
