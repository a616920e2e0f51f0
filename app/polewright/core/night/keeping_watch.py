"""What the watch over the imaging run does to the state: rows of the table in core/night/workflow.py."""

from __future__ import annotations

from dataclasses import replace

from polewright.core.night.effects import Effect, Refused, ShiftFound
from polewright.core.night.events import FrameSolved, GuidingSwitched
from polewright.core.night.judging import witnessed_offset
from polewright.core.night.states import NightState
from polewright.core.night.watching import Watching, look_at
from polewright.core.night.workflow_actions import Outcome, see_frame


def look(state: NightState, event: FrameSolved) -> Outcome:
    """Looks at a frame of the imaging run; tells of a shift with the frame that shows it."""
    seen, _ = see_frame(state, event)
    if not state.aligned or state.plan is None:
        return seen, ()
    offset = witnessed_offset(state) if state.proved else state.offset
    now = look_at(state.watching, event.frame, state.now_s, state.plan, offset or state.offset)
    return replace(seen, watching=now), _news(now)


def _news(now: Watching) -> tuple[Effect, ...]:
    shift = now.vigil.new
    if shift is None:
        return ()
    return (ShiftFound(replace(shift, onset_s=now.night_s(shift.onset_s), found_s=now.night_s(shift.found_s))),)


def switch_guiding(state: NightState, event: GuidingSwitched) -> Outcome:
    """The person knows what holds the mount; so the frames need not be asked."""
    if state.watching is None:
        return state, (Refused("No frame of the imaging run has come yet.", "Say so once the first one is here."),)
    return replace(state, watching=replace(state.watching, guided=event.on)), ()


def put_away(state: NightState, event: object) -> Outcome:
    """The person has read it; the watch goes on."""
    watching = state.watching
    if watching is None:
        return state, ()
    return replace(state, watching=replace(watching, seen=len(watching.vigil.shifts))), ()
