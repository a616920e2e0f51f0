"""Pictures of one whole turn in progress: turn on, slower, stop."""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType

from polewright.core.night.advice import Reason, Walking
from polewright.core.screws.angles import Screw
from polewright.core.screws.walk import Cue
from polewright.ui.view_model import View

NAMES = MappingProxyType({Cue.KEEP_TURNING: "3-turn-on", Cue.SLOWER: "3-turn-slower", Cue.STOP: "3-turn-stop"})


class TurnShots:
    """Attributes: `views`, of the first turn in which the marker was led by all three cues; else of the latest."""

    def __init__(self) -> None:
        self.views: dict[str, View] = {}
        self._screw: Screw | None = None

    def see(self, why: Reason, view: Callable[[], View]) -> None:
        """Another moment of the night; `view` draws it."""
        if len(self.views) == len(NAMES):
            return
        screw = why.screw if isinstance(why, Walking) else None
        if screw is not self._screw and screw is not None:
            self.views = {}
        self._screw = screw
        if isinstance(why, Walking) and why.cue in NAMES:
            self.views.setdefault(NAMES[why.cue], view())
