"""What a turn of a screw is worth on this mount: remembered moves, and what they teach (core/screws/learning.py).

A screw coordinate (core/screws/angles.py) is the bearing along the horizon, clockwise from above, or the height.
Turns are positive clockwise as seen by the hand. The rate is signed: arcminutes of the coordinate per clockwise turn.
Opposite-sign readings add up: 18' above and then 21' below after half a turn are 39' per half turn (common practice,
no source).

Decided 2026-11-25. What a hand reports. A hand that is told to turn by one turn errs by a fifth; learning a screw
to 5 % from such reports would take some sixty turns. A turn counts as told, or as read off the screw head: to 3 %
of its last turn, for whole turns are counted back to the dot (common practice, no source), and to 3 degrees at
least; the window offers it with keys. Asking for a number each time was rejected: cold hands press Return.
Believing 3 % of all turns made a long move worth no more than a short one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from polewright.core.plain import from_plain, to_plain

KEPT_MOVES = 60  # chosen: more than a night at the screws makes
NIGHT_TO_NIGHT = 0.03  # share by which a rate may differ on another night: load, balance, how the base is clamped


@dataclass(frozen=True)
class ScrewMove:
    """One measured move, from rest to rest: what was said to be turned, and where the axis was before and after.

    `sigma_arcmin` belongs to the difference. `sure` is False where the person said nothing and is taken to have done
    what was advised; `read_off` is True where they read the turn off the head of the screw instead of trusting their
    hand. `guessed`: nobody said how far; the eye led the hand, and only direction and slack were seen.
    """

    turns: float
    before_arcmin: float
    after_arcmin: float
    sigma_arcmin: float
    sure: bool = True
    read_off: bool = False
    guessed: bool = False

    @property
    def moved_arcmin(self) -> float:
        return self.after_arcmin - self.before_arcmin


@dataclass(frozen=True)
class ScrewRate:
    """What is known of a screw; sigmas are one standard deviation.

    `arcmin_per_turn` holds at the target pole; it grows by the fraction `change_per_degree` per degree above it.
    `sign_sure` is the probability that the direction is right, `human_error` the relative error of a turn as told.
    `slack` is the share of the backlash that a clockwise turn would lose now (0: engaged clockwise),
    `sigma_open` the sigma (turns) of what was turned since the axis last moved.
    `wrong_way`, `misfits`: tonight's moves (by index) that fit as turned the other way, or not at all.
    """

    arcmin_per_turn: float
    sigma_arcmin: float
    backlash_turns: float
    sigma_backlash: float
    change_per_degree: float = 0.0
    sigma_change: float = 0.0
    sign_sure: float = 1.0
    human_error: float = 0.15
    human_weight: float = 4.0
    slack: float = 0.5
    slack_sure: bool = False
    sigma_open: float = 0.0
    moves: int = 0
    wrong_way: tuple[int, ...] = ()
    misfits: tuple[int, ...] = ()
    prior_rejected: bool = False

    @property
    def relative_sigma(self) -> float:
        """Relative uncertainty of the rate."""
        return self.sigma_arcmin / abs(self.arcmin_per_turn)

    def at(self, coordinate_arcmin: float) -> float:
        """Signed rate at a coordinate, arcmin per turn; the change with angle is capped at a factor of two."""
        factor = 1.0 + self.change_per_degree * coordinate_arcmin / 60.0
        return self.arcmin_per_turn * min(max(factor, 0.5), 2.0)

    def lost_turns(self, direction: float) -> float:
        """Turns of backlash that a turn in this direction (sign, clockwise +) loses first."""
        return self.backlash_turns * (self.slack if direction > 0.0 else 1.0 - self.slack)


@dataclass(frozen=True)
class ScrewPrior:
    """What earlier nights taught; kept in the rig's profile."""

    arcmin_per_turn: float
    sigma_arcmin: float
    backlash_turns: float
    sigma_backlash: float
    change_per_degree: float = 0.0
    sigma_change: float = 0.01
    human_error: float = 0.15
    human_weight: float = 4.0
    nights: int = 1


@dataclass(frozen=True)
class ScrewMemory:
    """A screw's memory: what earlier nights left, and tonight's moves, oldest first.

    `seen_odds`: log odds that a clockwise turn raises the coordinate, from nights that saw the way and no rate.
    """

    prior: ScrewPrior | None = None
    moves: tuple[ScrewMove, ...] = ()
    bends: bool = False  # the rate may change with the angle (altitude lever)
    seen_odds: float = 0.0

    def with_move(self, move: ScrewMove) -> ScrewMemory:
        """This memory and one more move; the oldest fall out after 60."""
        return replace(self, moves=(*self.moves, move)[-KEPT_MOVES:])

    def without_last(self) -> ScrewMemory:
        """This memory without its latest move (a report taken back)."""
        return replace(self, moves=self.moves[:-1])

    def for_next_night(self, rate: ScrewRate | None, seen_odds: float = 0.0) -> ScrewMemory:
        """The memory to keep in the rig's profile, given what `learn` made of this one, and the odds of the way."""
        if rate is None or rate.sign_sure < 0.9:
            return replace(self, moves=(), seen_odds=seen_odds)
        nights = 0 if self.prior is None or rate.prior_rejected else self.prior.nights
        prior = ScrewPrior(
            rate.arcmin_per_turn,
            math.hypot(rate.sigma_arcmin, NIGHT_TO_NIGHT * rate.arcmin_per_turn),
            rate.backlash_turns,
            rate.sigma_backlash,
            rate.change_per_degree,
            rate.sigma_change,
            rate.human_error,
            min(rate.human_weight, 40.0),
            nights + 1,
        )
        return replace(self, prior=prior, moves=(), seen_odds=seen_odds)

    def to_dict(self) -> dict[str, object]:
        """Plain values for the rig's profile (JSON, TOML)."""
        result: dict[str, object] = to_plain(self)
        return result

    @staticmethod
    def from_dict(data: object) -> ScrewMemory:
        """The memory of such values; RecordingError when they are damaged."""
        return from_plain(ScrewMemory, data)
