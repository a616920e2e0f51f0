"""The coach while the imaging run is watched: quiet, until the mount is seen to have been moved."""

from __future__ import annotations

from polewright.core.night.advice import MountMoved, Quiet
from polewright.core.night.states import Running
from polewright.core.night.witness import told_offset
from polewright.core.vigil.watch import SETTLED_RAD_H, Shift
from polewright.core.vigil.watching import Watching

FIRST_LOOKS = 4  # fewer say nothing yet
HIDDEN = 3.0  # the axis may have moved by so many times what was seen of it


def advise_watch(state: Running) -> MountMoved | Quiet | None:
    """What the watch has to say; None while it has hardly begun."""
    watching = state.watching
    if watching is None:
        return None
    if watching.unread:
        return _moved(state, watching, watching.unread[-1])
    return Quiet(state.proved, len(watching.vigil.shifts)) if watching.vigil.frames >= FIRST_LOOKS else None


def _moved(state: Running, watching: Watching, shift: Shift) -> MountMoved:
    """Measure again where the shift may cost the tolerance; else say that it does not."""
    tolerance_rad = state.plan.tolerance_rad
    ago_s = max(0.0, state.now_s - watching.night_s(shift.onset_s))
    left_rad = tolerance_rad - now_rad(state) - shift.size_rad
    harmless = shift.sudden and _still_good(state, watching)
    number = len(watching.vigil.shifts)
    return MountMoved(shift, number, ago_s, tolerance_rad, left_rad, harmless, state.proved)


def _still_good(state: Running, watching: Watching) -> bool:
    """Whether all that was seen to move since the alignment, taken together, leaves the tolerance whole."""
    shifts = watching.vigil.shifts
    slow = [shift for shift in shifts if not shift.sudden]
    if slow and slow[-1].rate_rad_h >= SETTLED_RAD_H:
        return False
    return now_rad(state) + HIDDEN * sum(shift.size_rad for shift in shifts) <= state.plan.tolerance_rad


def now_rad(state: Running) -> float:
    """How far the axis was off before, in all."""
    offset = told_offset(state)
    return 0.0 if offset is None else offset.total_rad
