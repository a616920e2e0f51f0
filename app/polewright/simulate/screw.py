"""One adjusting screw of a real mount: rate, backlash, friction, and a lock that shifts things when tightened."""

from __future__ import annotations

from dataclasses import dataclass

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


class Screw:
    """A screw over time; `angle_rad` is what it has moved the axis by, horizon angle in azimuth."""

    def __init__(self, spec: ScrewSpec, slack: float = 0.0) -> None:
        self.spec = spec
        self._drive = LooseDrive(0.0, spec.backlash_turns, slack)
        self._moves: list[tuple[float, float]] = []
        self._locked_at: list[float] = []
        self._rest = self._angle_arcmin(self._drive.output(0.0))

    def turn(self, at_s: float, turns: float, seconds: float | None = None) -> float:
        """Turn clockwise (positive) by `turns`, within `seconds` or as hands usually do; returns when they let go."""
        usual_s = max(abs(turns) * self.spec.seconds_per_turn, 0.2)
        move = self._drive.move(at_s, turns, usual_s if seconds is None else seconds)
        self._moves.append(move)
        return move[1]

    def tighten(self, at_s: float) -> None:
        """Tighten the lock; it shifts the axis only if the screw has been turned since the last time."""
        since = self._locked_at[-1] if self._locked_at else float("-inf")
        if any(start >= since for start, _ in self._moves):
            self._locked_at.append(max(at_s, self._drive.busy_until()))

    def angle_rad(self, at_s: float) -> float:
        """Angle moved since the beginning, rad."""
        angle = self._angle_arcmin(self._drive.output(at_s)) - self._rest
        for start, end in reversed(self._moves):
            if at_s - end > _SETTLED * self.spec.settle_s:
                break  # what that move and all before it held back has followed
            if start < at_s:
                until = min(at_s, end)
                done = self._angle_arcmin(self._drive.output(until)) - self._angle_arcmin(self._drive.output(start))
                angle -= self.spec.settle_share * done * np.exp(-(at_s - until) / self.spec.settle_s)
        angle += self.spec.lock_shift_arcmin * sum(1 for locked in self._locked_at if locked <= at_s)
        return float(np.radians(angle / 60.0))

    def rate_arcmin(self, at_s: float) -> float:
        """Arcminutes of its own angle per engaged turn, where it stands."""
        change = self.spec.change_per_degree / 60.0
        return self.spec.arcmin_per_turn * (1.0 + change * self._angle_arcmin(self._drive.output(at_s)))

    def turning(self, at_s: float) -> bool:
        """Whether a hand is on the screw."""
        return any(start <= at_s < end for start, end in self._moves)

    def _angle_arcmin(self, turns: float) -> float:
        """Solves d(angle)/d(turns) = rate * (1 + change * angle), angle 0 at 0 turns."""
        rate, change = self.spec.arcmin_per_turn, self.spec.change_per_degree / 60.0
        return float(np.expm1(rate * change * turns) / change) if change else rate * turns
