"""Soft motion: values that glide to a new place, and the one Qt object that makes time pass for them.

A glide is a pure value; the driver only says how many seconds have passed, so tests advance it by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QAbstractAnimation, QObject, QVariantAnimation

GLIDE_S = 0.22
PULSE_S = 0.7


@dataclass(frozen=True)
class Glide:
    """A pair of numbers on its way from `start` to `end`, `age_s` after it set out."""

    start: tuple[float, float]
    end: tuple[float, float]
    age_s: float = GLIDE_S
    length_s: float = GLIDE_S

    @property
    def at(self) -> tuple[float, float]:
        """Where it is now: leaves and arrives slowly, never overshoots."""
        x = min(1.0, max(0.0, self.age_s / self.length_s))
        e = x * x * (3.0 - 2.0 * x)
        return (
            self.start[0] + (self.end[0] - self.start[0]) * e,
            self.start[1] + (self.end[1] - self.start[1]) * e,
        )

    @property
    def moving(self) -> bool:
        return self.age_s < self.length_s and self.start != self.end

    def later(self, seconds: float) -> Glide:
        """The same glide, some time on."""
        return Glide(self.start, self.end, self.age_s + seconds, self.length_s)

    def toward(self, end: tuple[float, float]) -> Glide:
        """Set out from here to a new end."""
        return Glide(self.at, end, 0.0, self.length_s)


class MotionDriver(QObject):
    """Calls `advance(seconds)` at the screen's rate while it returns True, and rests otherwise.

    Attributes: `advance`. Built on QVariantAnimation, so all animations share Qt's one animation timer.
    """

    def __init__(self, advance: Callable[[float], bool], parent: QObject) -> None:
        super().__init__(parent)
        self.advance = advance
        self._last_ms = 0
        self._animation = QVariantAnimation(self)
        self._animation.setStartValue(0)
        self._animation.setEndValue(60_000)
        self._animation.setDuration(60_000)
        self._animation.setLoopCount(-1)
        self._animation.valueChanged.connect(self._on_tick)

    def wake(self) -> None:
        """Something wants to move."""
        if self._animation.state() != QAbstractAnimation.State.Running:
            self._last_ms = 0
            self._animation.start()

    def rest(self) -> None:
        """Stop at once."""
        self._animation.stop()

    def _on_tick(self, _value: object) -> None:
        now = self._animation.currentLoop() * 60_000 + self._animation.currentLoopTime()
        seconds, self._last_ms = (now - self._last_ms) / 1000.0, now
        if not self.advance(max(0.0, seconds)):
            self._animation.stop()
