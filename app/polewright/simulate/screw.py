"""One adjusting screw of a real mount: rate, backlash, friction, and a lock that shifts things when tightened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from polewright.simulate.drive import LooseDrive


@dataclass(frozen=True)
class ScrewSpec:
    """How one screw behaves.

    `arcmin_per_turn` is signed: a clockwise turn raises the axis (altitude screw) or turns the base clockwise seen
    from above (azimuth screw) when positive. The rate grows by `change_per_degree` (a fraction) per degree moved.
    `backlash_turns` are lost at each reversal. Friction holds back `settle_share` of every move, which then follows
    with the time constant `settle_s`. Tightening the lock shifts the axis by `lock_shift_arcmin`.
    """

    arcmin_per_turn: float = 60.0
    backlash_turns: float = 0.0
    change_per_degree: float = 0.0
    settle_share: float = 0.0
    settle_s: float = 4.0
    seconds_per_turn: float = 6.0
    lock_shift_arcmin: float = 0.0


_SETTLED = 25.0  # time constants


class _Move(NamedTuple):
    """A turn from `start_s` to `end_s`, and the angles that the screw stood for before and after, arcmin."""

    start_s: float
    end_s: float
    before_arcmin: float
    after_arcmin: float


class Screw:
    """A screw over time; `angle_rad` is what it has moved the axis by, horizon angle in azimuth."""

    def __init__(self, spec: ScrewSpec, slack: float = 0.0) -> None:
        self.spec = spec
        self._drive = LooseDrive(0.0, spec.backlash_turns, slack)
        self._moves: list[_Move] = []
        self._locked_at: list[float] = []
        self._rest = self._driven_arcmin(0.0)

    def turn(self, at_s: float, turns: float, seconds: float | None = None) -> float:
        """Turn clockwise (positive) by `turns`, within `seconds` or as hands usually do; returns when they let go."""
        usual_s = max(abs(turns) * self.spec.seconds_per_turn, 0.2)
        start_s, end_s = self._drive.move(at_s, turns, usual_s if seconds is None else seconds)
        self._moves.append(_Move(start_s, end_s, self._driven_arcmin(start_s), self._driven_arcmin(end_s)))
        return end_s

    def tighten(self, at_s: float) -> None:
        """Tighten the lock; it shifts the axis only if the screw has been turned since the last time."""
        since = self._locked_at[-1] if self._locked_at else float("-inf")
        if any(move.start_s >= since for move in self._moves):
            self._locked_at.append(max(at_s, self._drive.busy_until()))

    def angle_rad(self, at_s: float) -> float:
        """Angle moved since the beginning, rad."""
        now = self._driven_arcmin(at_s)
        angle = now - self._rest
        for move in reversed(self._moves):
            if at_s - move.end_s > _SETTLED * self.spec.settle_s:
                break  # what that move and all before it held back has followed
            if move.start_s < at_s:
                done = (now if at_s < move.end_s else move.after_arcmin) - move.before_arcmin
                since_s = at_s - min(at_s, move.end_s)
                angle -= self.spec.settle_share * done * np.exp(-since_s / self.spec.settle_s)
        angle += self.spec.lock_shift_arcmin * sum(1 for locked in self._locked_at if locked <= at_s)
        return float(np.radians(angle / 60.0))

    def rate_arcmin(self, at_s: float) -> float:
        """Arcminutes of its own angle per engaged turn, where it stands."""
        change = self.spec.change_per_degree / 60.0
        return self.spec.arcmin_per_turn * (1.0 + change * self._driven_arcmin(at_s))

    def turning(self, at_s: float) -> bool:
        """Whether a hand is on the screw."""
        return any(move.start_s <= at_s < move.end_s for move in self._moves)

    def _driven_arcmin(self, at_s: float) -> float:
        return self._angle_arcmin(self._drive.output(at_s))

    def _angle_arcmin(self, turns: float) -> float:
        """Solves d(angle)/d(turns) = rate * (1 + change * angle), angle 0 at 0 turns."""
        rate, change = self.spec.arcmin_per_turn, self.spec.change_per_degree / 60.0
        return float(np.expm1(rate * change * turns) / change) if change else rate * turns
