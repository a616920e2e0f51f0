"""The coach while the imaging run is watched: quiet, until the mount is seen to have been moved."""

from __future__ import annotations

import math

from polewright.core.night.advice import Advice, Done, MeasureAgain, Mood
from polewright.core.night.states import Running
from polewright.core.night.witness import witnessed_offset
from polewright.core.vigil.watch import SETTLED_RAD_H, Shift
from polewright.core.vigil.watching import Watching
from polewright.words.numbers import angle_text, duration_text

FIRST_LOOKS = 4  # fewer say nothing yet
HIDDEN = 3.0  # the axis may have moved by so many times what was seen of it


def advise_watch(state: Running) -> Advice | None:
    """What the watch has to say; None while it has hardly begun."""
    watching = state.watching
    if watching is None:
        return None
    if watching.unread:
        return _moved(state, watching, watching.unread[-1])
    if watching.vigil.frames < FIRST_LOOKS:
        return None
    told = len(watching.vigil.shifts)
    reason = "Nothing has moved since." if not told else f"Moved {told} {'time' if told == 1 else 'times'} so far."
    proved = "proved" if state.proved else "accepted"
    return Advice(
        "Watching. Image on.",
        f"The alignment is {proved}. {reason}",
        "",
        Done(state.proved),
        Mood.GOOD,
        f"watching:{told}",
    )


def _moved(state: Running, watching: Watching, shift: Shift) -> Advice:
    """Measure again where the shift may cost the tolerance; else say that it does not."""
    tolerance = state.plan.tolerance_rad
    ago = duration_text(max(0.0, state.now_s - watching.night_s(shift.onset_s)))
    key = f"moved:{len(watching.vigil.shifts)}"
    if not shift.sudden and shift.rate_rad_h < SETTLED_RAD_H:
        return Advice(
            "The mount has settled. Measure again.",
            f"It stopped sinking {ago} ago.",
            "",
            MeasureAgain(),
            Mood.TROUBLE,
            key,
        )
    if not shift.sudden:
        return Advice(
            "The mount is sinking. Measure again.",
            f"By {angle_text(shift.rate_rad_h)} an hour for {ago}: {_lasts(state, shift)} Check its feet first.",
            "",
            MeasureAgain(),
            Mood.TROUBLE,
            key,
        )
    size = angle_text(shift.size_rad)
    if _still_good(state, watching):
        return Advice(
            f"Moved by {size}. Still good enough.",
            f"{ago} ago. Tonight needs {angle_text(tolerance)}: image on, but look at the frame of that moment.",
            "",
            Done(state.proved),
            Mood.DO,
            key,
        )
    return Advice(
        "The mount was moved. Measure again.",
        f"{ago} ago, by {size} at least; tonight needs {angle_text(tolerance)}. Check feet and locks first.",
        "",
        MeasureAgain(),
        Mood.TROUBLE,
        key,
    )


def _still_good(state: Running, watching: Watching) -> bool:
    """Whether all that was seen to move since the alignment, taken together, leaves the tolerance whole."""
    shifts = watching.vigil.shifts
    slow = [shift for shift in shifts if not shift.sudden]
    if slow and slow[-1].rate_rad_h >= SETTLED_RAD_H:
        return False
    return now_rad(state) + HIDDEN * sum(shift.size_rad for shift in shifts) <= state.plan.tolerance_rad


def now_rad(state: Running) -> float:
    """How far the axis was off before, in all."""
    offset = (witnessed_offset(state) if state.proved else None) or state.offset
    return 0.0 if offset is None else offset.total_rad


def _lasts(state: Running, shift: Shift) -> str:
    """How long the tolerance lasts at this rate."""
    needed = angle_text(state.plan.tolerance_rad)
    left = state.plan.tolerance_rad - now_rad(state) - shift.size_rad
    hours = left / max(shift.rate_rad_h, 1e-12)
    if left <= 0.0:
        return f"more than tonight's {needed}."
    return f"tonight's {needed} hold for {duration_text(math.floor(min(hours, 24.0) * 3600.0))} more."
