"""What the watch over the imaging run does to the state: rows of the table in core/night/table.py.

Decided 2026-11-25. The watch is part of the state. After the alignment every solved frame is a look of the vigil,
inside step. A shift is an effect that the engine writes down (vigil_shift); whether the mount is guided is read off
the frames, and the person may say otherwise. An event per look was rejected: it would only repeat what the frames
say. Asking beforehand was rejected: at that hour nobody answers, and a dithered run taken for a free one cries
wolf.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from polewright.core.night.actions import Outcome, see_frame
from polewright.core.night.effects import Effect, Objection, Refused, ShiftFound
from polewright.core.night.events import FrameSolved, GuidingSwitched
from polewright.core.night.states import NightPlan, Running
from polewright.core.night.witness import witnessed_offset
from polewright.core.offset import Offset
from polewright.core.sky.places import east_and_up, pole_enu
from polewright.core.vigil.watch import VigilSetup
from polewright.core.vigil.watching import Watching, begin_watch, look_at


def look(state: Running, event: FrameSolved) -> Outcome:
    """Looks at a frame of the imaging run; tells of a shift with the frame that shows it."""
    seen, _ = see_frame(state, event)
    if not state.aligned:
        return seen, ()
    frame = event.frame.sky_frame()
    before = state.watching or begin_watch(_setup(state.plan, _known_axis(state)), frame.utc_mid, state.now_s)
    now = look_at(before, frame, state.now_s)
    return replace(seen, watching=now), _news(now)


def _known_axis(state: Running) -> Offset | None:
    return (witnessed_offset(state) if state.proved else None) or state.offset


def _setup(plan: NightPlan, offset: Offset | None) -> VigilSetup:
    """The axis as a direction, from where it is known to stand against the target pole."""
    site = plan.site
    pole = pole_enu(site, plan.air, plan.target)
    east, up, sigma = (0.0, 0.0, plan.tolerance_rad)
    if offset is not None:
        east, up, sigma = offset.east_rad, offset.up_rad, offset.sigma_rad
    size = math.hypot(east, up)
    toward = np.array([east, up]) @ east_and_up(pole, site) / max(size, 1e-12)
    axis = math.cos(size) * pole + math.sin(size) * toward
    return VigilSetup(site, (float(axis[0]), float(axis[1]), float(axis[2])), sigma)


def _news(now: Watching) -> tuple[Effect, ...]:
    shift = now.vigil.new
    if shift is None:
        return ()
    return (ShiftFound(replace(shift, onset_s=now.night_s(shift.onset_s), found_s=now.night_s(shift.found_s))),)


def switch_guiding(state: Running, event: GuidingSwitched) -> Outcome:
    """The person knows what holds the mount; so the frames need not be asked."""
    if state.watching is None:
        return state, (Refused(Objection.NOT_YET_WATCHED),)
    return replace(state, watching=replace(state.watching, guided=event.on)), ()


def put_away(state: Running, event: object) -> Outcome:
    """The person has read it; the watch goes on."""
    watching = state.watching
    if watching is None:
        return state, ()
    return replace(state, watching=replace(watching, seen=len(watching.vigil.shifts))), ()


# guards


def aligned(state: Running) -> bool:
    """Proved, or accepted as it is: from now on the imaging run is watched."""
    return state.aligned


def shift_unread(state: Running) -> bool:
    """The watch has found something."""
    return state.watching is not None and bool(state.watching.vigil.shifts)
