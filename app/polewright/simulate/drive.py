"""A drive with play: a screw or a gear that first takes up its slack, then moves what it drives."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from polewright.core.errors import UsageError


@dataclass(frozen=True)
class _Stretch:
    """From `start_s` on the driver moves at `rate` per second; `output` is the driven side at its start."""

    start_s: float
    driver: float
    output: float
    rate: float


class LooseDrive:
    """Driver and driven position over time, in any one unit; the driven side lags by up to half the `play`.

    Commands come in the order of time. One that arrives while a move is still running waits until the move ends.
    """

    def __init__(self, position: float, play: float, slack: float = 0.0) -> None:
        """`slack` between -0.5 and 0.5 says where within its play the driven side rests at first."""
        self._play = play
        self._base_rate = 0.0
        self._stretches = [_Stretch(float("-inf"), position, position + slack * play, 0.0)]
        self._starts_s = [float("-inf")]  # of the stretches: a bisection with a key costs more than all else here
        self._last_command_s = float("-inf")

    def move(self, at_s: float, amount: float, duration_s: float) -> tuple[float, float]:
        """Move the driver by `amount` on top of its base rate; returns (start, end) of the move, s."""
        start = self._accept(at_s)
        self._begin(start, self._base_rate + amount / duration_s)
        self._begin(start + duration_s, self._base_rate)
        return start, start + duration_s

    def set_base_rate(self, at_s: float, rate: float) -> None:
        """The steady rate per second from `at_s` on (tracking); a running move ends first."""
        self._base_rate = rate
        self._begin(self._accept(at_s), rate)

    def driver(self, at_s: float) -> float:
        """Position of the driving side."""
        return self._driver(self._stretch(at_s), at_s)

    def output(self, at_s: float) -> float:
        """Position of the driven side."""
        stretch = self._stretch(at_s)
        driver = self._driver(stretch, at_s)
        half = 0.5 * self._play
        return min(max(stretch.output, driver - half), driver + half)

    def busy_until(self) -> float:
        """When the last move ends, s; minus infinity before the first."""
        return self._stretches[-1].start_s

    def ready_s(self, at_s: float) -> float:
        """When a command that is given at `at_s` can be taken: after those that were given for later."""
        return max(at_s, self._last_command_s)

    def _accept(self, at_s: float) -> float:
        if at_s < self._last_command_s:
            raise UsageError(
                f"Commands come in the order of time: {at_s:.3f} s is before {self._last_command_s:.3f} s."
            )
        self._last_command_s = at_s
        return max(at_s, self._stretches[-1].start_s)

    def _begin(self, start_s: float, rate: float) -> None:
        self._stretches.append(_Stretch(start_s, self.driver(start_s), self.output(start_s), rate))
        self._starts_s.append(start_s)

    def _stretch(self, at_s: float) -> _Stretch:
        return self._stretches[bisect_right(self._starts_s, at_s) - 1]

    @staticmethod
    def _driver(stretch: _Stretch, at_s: float) -> float:
        return stretch.driver + (stretch.rate * (at_s - stretch.start_s) if stretch.rate else 0.0)
