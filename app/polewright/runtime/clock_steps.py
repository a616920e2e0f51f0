"""This computer's clock is set while a night runs, and the frames' times go with it or not.

The clock is held against durations, which no setting touches; the frames against the clock, before and after. Frames
whose times follow belong to another sky than those before; frames of a camera with a clock of its own do not follow.
"""

from __future__ import annotations

from dataclasses import dataclass

STEP_S = 30.0  # chosen: turns an axis error of one degree by 8"; a computer at its time server creeps by far less
CREPT_S = 1.0  # chosen: less is no setting; beyond it frame and clock are held against what they were, so it adds up
FRAMES_TO_FOLLOW = 5  # chosen: those exposed before the step still land, and are read, after it


@dataclass
class ClockSteps:
    """Of the latest frame, in s: how far the clock was ahead of durations, and the frame ahead of the clock."""

    clock_s: float | None = None
    frame_s: float = 0.0
    _step_s: float = 0.0
    _frames_left: int = 0

    def followed_s(self, clock_s: float, frame_s: float) -> float | None:
        """By how much the frames' times were set together with the clock, s (forwards: positive); None if they were
        not. `clock_s`: the clock minus durations when a frame landed; `frame_s`: the frame's time minus the clock."""
        crept_s = 0.0 if self.clock_s is None else clock_s - self.clock_s
        if self.clock_s is None or abs(crept_s) > STEP_S:
            self._frames_left = FRAMES_TO_FOLLOW if crept_s else 0
            self._step_s, self.clock_s = self._step_s + crept_s, clock_s
        if self._frames_left:
            return self._judge(frame_s)
        if abs(crept_s) < CREPT_S:
            self.frame_s = frame_s
        return None

    def _judge(self, frame_s: float) -> float | None:
        step_s, followed = self._step_s, abs(frame_s - self.frame_s) < 0.5 * abs(self._step_s)
        self._frames_left = 0 if followed else self._frames_left - 1
        if self._frames_left:
            return None
        self._step_s, self.frame_s = 0.0, frame_s
        return step_s if followed else None
