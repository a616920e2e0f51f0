"""A turn in progress: the axis on its way to the aim, and the cue for the hand that moves it. Pure, no clock.

From the first motion of a screw on, frames tell where the axis is and how fast it goes. Pauses mean nothing; the
direction asked for turns round only when the axis has crossed the aim by more than is uncertain. Cues lead: the axis
goes on while a frame is on its way and while a person reacts. Where slack is to be crossed, or nobody knows which way
a screw moves the axis, the hand turns until the marker moves.

Decided 2026-11-29. The eye leads the hand. Any motion that came to rest was booked as the whole turn asked for; who
turned in parts heard the sign turn round. From the first motion on the turn is a state. What nobody told teaches
direction and slack, never a rate. Frames slower than every 3 s, and records made before, are told
(`NightStarted.walking`). Guessing how much of a turn was made from the rate learned so far was rejected: the guess
confirmed itself, and the axis went to and fro.

Simulated hands with a frame every 1.5 s, 72 nights each, star lists, all twelve scenarios, seeds 101 to 106
(tests/bench/hand_nights.py; medians of the nights proved). `walking`: 65 proved, none falsely, no order against the
truth; 5 goes (95 %: 12), 3.1 minutes at the screws (90 %: 6.9), 9" beyond the aim in the fine correction (90 %: 74").
`halting`: 63 proved, none falsely, 2 orders against the truth in one night (mended since); 6 goes (95 %: 14.7), 5.9
minutes, 11".
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

from polewright.core.screws.angles import Screw

REACTION_S = 0.7  # a glance and a hand (common practice, no source); learned from how far the axis runs on
LEAST_LEAD_S, MOST_LEAD_S = 0.2, 4.0  # of a stop: nobody reacts quicker, nobody should be told earlier (chosen)
AGE_SHARE = 0.6  # of the interval between frames: from mid-exposure to the screen
SLOWER_INTERVALS = 2.0  # frames before a stop at which "slower" is said: one to hear it, one to see it
MOVED_SIGMA = 4.0  # of two readings: chance moves a resting axis so far once in 16,000 frames
CROSSED_SIGMA = 3.0  # beyond the aim before the direction turns round
STALE_INTERVALS = 2.5  # a speed that no frame has confirmed for so long is none
GUESS_SHARE = 0.3  # one sigma, of the way gone since the last frame (chosen): a hand speeds up and slows down
LEARN_SHARE = 0.5  # of what a stop ran over goes into the next lead: half, as hands differ from stop to stop
WRONG_LEGS = 2  # so often may a hand mistake a direction before the screw is taken to work the other way (chosen)


class Cue(Enum):
    """What the hand on the screw is to do."""

    KEEP_TURNING = "keep turning"
    SLOWER = "slower"
    STOP = "stop"
    OTHER_WAY = "other way"
    SEEK = "seek"  # turn until the marker moves: the slack comes first
    CREEP = "creep"
    HANDS_OFF = "hands off"


@dataclass(frozen=True)
class Walk:
    """A turn in progress. Coordinates of the screw against the gate where it is to end, arcmin: the gate is 0. The
    gate itself stands at `gate_arcmin` against the aim of the night.

    `turns`: the direction asked for, by its sign; `asked`: the same as it was at first. `sign_known`: the way that
    moves the axis was known. `speed`: arcmin/s, 0 at rest. `first`, `last`: whether the first motion, and the latest,
    led toward the aim (+1) or away (-1), 0 before any. `wrong`: how often this direction was asked for and the axis
    went away. `creep_arcmin`: what the axis may still creep by itself after the move before, or a leg of this one.
    `stop_speed`: the speed (arcmin/s) at which a stop was called, 0 while none was. `slowing`, `stopping`: so much
    was said and holds until the axis rests: a hand that obeys is not told to go on in turn. `doubted_s`: since when
    the axis has been seen to go away or to turn back, 0 never: a number told after that may be the last part, or the
    difference of both ways. `travelled_arcmin`: the farthest that the axis has been from where it began.
    """

    screw: Screw
    turns: float
    sign_known: bool
    close_arcmin: float
    start_arcmin: float
    here_arcmin: float
    sigma_arcmin: float
    at_s: float
    interval_s: float
    speed: float = 0.0
    asked: float = 0.0
    first: float = 0.0
    last: float = 0.0
    wrong: int = 0
    creep_arcmin: float = 0.0
    stop_speed: float = 0.0
    slowing: bool = False
    stopping: bool = False
    doubted_s: float = 0.0
    gate_arcmin: float = 0.0
    travelled_arcmin: float = 0.0

    @property
    def side(self) -> float:
        """On which side of the aim it began."""
        return math.copysign(1.0, self.start_arcmin)

    @property
    def crossed(self) -> bool:
        """Whether the axis is beyond the aim, and that is sure."""
        return -self.side * self.here_arcmin > self.close_arcmin + CROSSED_SIGMA * self.sigma_arcmin

    @property
    def arrived(self) -> bool:
        """Whether nothing is left that this turn was for: near the aim, or past it by more than is uncertain."""
        return abs(self.here_arcmin) <= self.close_arcmin or -self.side * self.here_arcmin > self.sigma_arcmin

    def predicted_arcmin(self, now_s: float) -> float:
        """Where the axis is now, if it goes on as it went between the last two frames."""
        if not self.moving(now_s):
            return self.here_arcmin
        return self.here_arcmin + self.speed * (now_s - self.at_s + AGE_SHARE * self.interval_s)

    def moving(self, now_s: float) -> bool:
        """Whether it is still believed to move."""
        return self.speed != 0.0 and now_s - self.at_s < STALE_INTERVALS * self.interval_s


def walked(walk: Walk, here_arcmin: float, sigma_arcmin: float, noise_arcmin: float, at_s: float) -> Walk:
    """The walk with one more reading; `noise_arcmin` is the reading's own sigma, without what all have in common."""
    seconds = max(at_s - walk.at_s, 1e-3)
    step = here_arcmin - walk.here_arcmin
    moved = abs(step) > MOVED_SIGMA * math.sqrt(2.0) * noise_arcmin and not _creeps(walk, here_arcmin)
    way = math.copysign(1.0, -step * walk.side) if moved else 0.0
    again = walk.speed == 0.0 and abs(step) > walk.creep_arcmin  # less is what friction held back of the leg before
    turned_away = way < 0.0 and (again or walk.last >= 0.0)
    walk = replace(
        walk,
        here_arcmin=here_arcmin,
        sigma_arcmin=sigma_arcmin,
        at_s=at_s,
        interval_s=min(seconds, 2.0 * walk.interval_s),
        speed=step / seconds if moved else 0.0,
        slowing=walk.slowing and moved,
        stopping=walk.stopping and moved,
        asked=walk.asked or walk.turns,
        first=walk.first or way,
        last=way or walk.last,
        wrong=walk.wrong + 1 if turned_away else walk.wrong,
        travelled_arcmin=max(walk.travelled_arcmin, abs(here_arcmin - walk.start_arcmin)),
        doubted_s=walk.doubted_s or (at_s if way * (walk.last or 1.0) < 0.0 else 0.0),
    )
    return _other_sense(walk) if turned_away else replace(walk, sign_known=walk.sign_known or moved)


def _creeps(walk: Walk, here_arcmin: float) -> bool:
    """Whether no hand need have moved it: friction held a part of the move before back, which follows now."""
    return not walk.first and abs(here_arcmin - walk.start_arcmin) <= walk.creep_arcmin


def _other_sense(walk: Walk) -> Walk:
    """The axis went away. An unknown screw works the other way round; a known one too, when it happens again."""
    if walk.sign_known and walk.wrong < WRONG_LEGS:
        return walk
    return replace(walk, turns=-walk.turns, sign_known=True, wrong=0)


def cue(walk: Walk, now_s: float, lead_s: float, creeping: bool) -> Cue:
    """What to tell the hand now. `creeping`: so little is left that no fraction of a turn can be asked for."""
    keep = Cue.CREEP if creeping else Cue.KEEP_TURNING
    if not walk.moving(now_s):
        if walk.arrived:
            return Cue.HANDS_OFF
        return Cue.SEEK if walk.last < 0.0 else keep
    toward = -walk.speed * walk.side
    left = walk.predicted_arcmin(now_s) * walk.side
    if toward < 0.0:
        return Cue.OTHER_WAY if left > walk.close_arcmin else Cue.HANDS_OFF
    if walk.stopping or left - toward * lead_s <= 0.0:
        return Cue.STOP
    slow = walk.slowing or left - toward * (lead_s + SLOWER_INTERVALS * walk.interval_s) <= 0.0
    return Cue.SLOWER if slow else keep


def lead_after(lead_s: float, walk: Walk) -> float:
    """The lead for this hand, after the axis has come to rest: what it ran on beyond the aim, or fell short."""
    if not walk.stop_speed:
        return lead_s
    beyond = -walk.here_arcmin * walk.side
    return min(max(lead_s + LEARN_SHARE * beyond / abs(walk.stop_speed), LEAST_LEAD_S), MOST_LEAD_S)


def as_told(walk: Walk, now_s: float, lead_s: float) -> Walk:
    """Remembers that "slower" or "stop" was said, and how fast it went when "stop" was said for the first time."""
    match cue(walk, now_s, lead_s, False):
        case Cue.SLOWER:
            return replace(walk, slowing=True)
        case Cue.STOP:
            return replace(walk, stop_speed=walk.stop_speed or walk.speed, slowing=True, stopping=True)
        case _:
            return walk
