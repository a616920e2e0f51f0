"""After the alignment: the frames of the imaging run go on being looked at (core/vigil), for a mount that moves.

The watch begins with the first frame after the alignment was proved or accepted, whatever folder or camera it comes
from, and ends when the axis is measured anew. It is a pure function of the night's events like everything else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from polewright.core.model import SkyFrame, Utc
from polewright.core.vigil.holding import runs_free
from polewright.core.vigil.watch import Shift, Vigil, VigilSetup, watch

CLOCK_AHEAD_S = 60.0  # no frame comes from the future
LEAST_GAP_S = 8.0  # frames nearer than that share their air: they cost time and tell nothing new


@dataclass(frozen=True)
class Watching:
    """The watch over the imaging run. `vigil` counts seconds from `zero`, which was `zero_s` of the night's time.

    `guided`: what the person says about guiding or dithering; None: read it off the frames. `free`: what the frames
    say. `seen`: how many shifts the person has put away. `checked_s`: the night's time of the latest look.
    """

    vigil: Vigil
    zero: Utc
    zero_s: float
    checked_s: float
    guided: bool | None = None
    free: bool | None = None
    seen: int = 0

    @property
    def held(self) -> bool:
        """Whether the mount counts as guided or dithered: then only a turn of the picture proves a shift."""
        return self.guided if self.guided is not None else not self.free

    @property
    def unread(self) -> tuple[Shift, ...]:
        """Shifts that nobody has put away yet."""
        return self.vigil.shifts[self.seen :]

    def night_s(self, vigil_s: float) -> float:
        """The night's time of a time of the vigil."""
        return self.zero_s + vigil_s


def begin_watch(setup: VigilSetup, zero: Utc, now_s: float) -> Watching:
    """A watch that begins with a frame taken at `zero`, at `now_s` of the night's time."""
    return Watching(Vigil(setup), zero, now_s, now_s)


def look_at(before: Watching, frame: SkyFrame, now_s: float) -> Watching:
    """The watch after one more frame."""
    at_s, looks = frame.utc_mid.seconds_since(before.zero), before.vigil.looks
    last_s = looks[-1].at_s if looks else before.vigil.since_s
    if before.vigil.reference is not None and abs(at_s - last_s) < LEAST_GAP_S:
        return replace(before, checked_s=now_s, vigil=replace(before.vigil, new=None))
    if at_s < last_s or at_s - (now_s - before.zero_s) > CLOCK_AHEAD_S:
        before = _by_other_clock(before, frame, now_s)
    return _looked(before, frame, now_s)


def _by_other_clock(before: Watching, frame: SkyFrame, now_s: float) -> Watching:
    """The frames count by another clock: begin with it; what was found keeps its place in the night."""
    older_s = before.zero_s - now_s
    shifts = tuple(replace(s, onset_s=s.onset_s + older_s, found_s=s.found_s + older_s) for s in before.vigil.shifts)
    fresh = Vigil(before.vigil.setup, shifts=shifts, watches=before.vigil.watches)
    return replace(before, vigil=fresh, zero=frame.utc_mid, zero_s=now_s, free=None)


def _looked(before: Watching, frame: SkyFrame, now_s: float) -> Watching:
    setup = replace(before.vigil.setup, guided=before.held, dithered=False)
    vigil = watch(replace(before.vigil, setup=setup), frame, frame.utc_mid.seconds_since(before.zero))
    free = before.free if vigil.watches == before.vigil.watches else None
    told = runs_free(vigil.looks)
    return replace(before, vigil=vigil, checked_s=now_s, free=free if told is None else told)
