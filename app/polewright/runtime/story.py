"""A night told line by line: stage, what the program says, what the person does, where the axis is."""

from __future__ import annotations

from collections.abc import Callable

from polewright.core.night.advice import Advice, Clouds, Do, Errand, Mood, MoreFrames, Plainly, Reason, Turn
from polewright.core.night.states import NightState
from polewright.core.night.witness import told_offset
from polewright.words.coach import say
from polewright.words.deeds import axis_text

INDENT = " " * 15


class Story:
    """Feed it states and deeds in order; `tell` gets one line at a time."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._stage = ""
        self._errand: Errand | None = None
        self._told: Errand | None = None

    def state(self, state: NightState, advice: Advice) -> None:
        """What is on the screen now; says something only when it is news."""
        if state.stage.value != self._stage and state.plan is not None:
            self._stage = state.stage.value
            self._tell(f"{clock_text(state.now_s)}  {self._stage.upper()}")
        if advice.errand == self._errand:
            return
        self._errand = advice.errand
        if advice.mood is Mood.WAIT and not _lasts(advice.reason):
            return
        if advice.mood is Mood.TROUBLE and advice.errand == self._told:
            return
        self._told, told = advice.errand, say(advice)
        self._axis(state, advice)
        self._tell(f"{clock_text(state.now_s)}    says   {told.instruction}")
        if advice.mood is Mood.TROUBLE:
            self._tell(f"{INDENT}  {told.why}")

    def deed(self, at_s: float, text: str) -> None:
        """What the person did."""
        self._tell(f"{clock_text(at_s)}    hand   {text}")

    def _axis(self, state: NightState, advice: Advice) -> None:
        offset = told_offset(state)
        if offset is None or not (_at_the_screws(advice) or advice.mood is Mood.GOOD):
            return
        self._tell(f"{clock_text(state.now_s)}    axis   {axis_text(offset)}")


def _lasts(reason: Reason) -> bool:
    """Other waits are over with the next frame."""
    return reason is Plainly.PAUSED or isinstance(reason, Clouds | MoreFrames)


def _at_the_screws(advice: Advice) -> bool:
    return isinstance(advice.action, Turn) or advice.action in (Do.LOCK, Do.UNLOCK)


def clock_text(seconds: float) -> str:
    """Minutes and seconds of the night: ` 4:07`."""
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes:3d}:{rest:02d}"
