"""Which event of the night an intent stands for."""

from __future__ import annotations

from collections.abc import Callable

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import TargetPole
from polewright.core.night import events
from polewright.core.night.advice import Advice, Turn
from polewright.core.night.drifting.coach import free_side
from polewright.core.night.orientation.standing import pole_altitude_rad
from polewright.core.night.states import NightState
from polewright.core.screws.angles import Screw
from polewright.core.screws.doable import stepped_turns
from polewright.core.sky.places import standard_atmosphere
from polewright.ui import intents as want
from polewright.ui.driving.desk import MakeEvent

TARGETS = (TargetPole.TRUE, TargetPole.BETWEEN, TargetPole.REFRACTED)
TOLERANCES_ARCMIN = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
SCREWS = {"azimuth": Screw.AZIMUTH, "altitude": Screw.ALTITUDE}


def event_for(intent: want.Intent, state: NightState) -> MakeEvent | None:
    """How to make the event, given the night's time; None for intents that are no event of the night."""
    if isinstance(intent, want.UserTurned):
        screw, turns = SCREWS[intent.screw], intent.turns
        return lambda at_s: events.ScrewTurned(at_s, screw, turns)
    if isinstance(intent, want.LearnScrew):
        learned = SCREWS[intent.screw]
        return lambda at_s: events.LessonAsked(at_s, learned)
    if isinstance(intent, want.Pause):
        return events.ResumeAsked if state.paused else events.PauseAsked
    if isinstance(intent, want.Finish):
        return events.Accepted
    if isinstance(intent, want.SayGuiding):
        on = intent.on
        return lambda at_s: events.GuidingSwitched(at_s, on)
    if isinstance(intent, want.WatchDrift):
        return _drift(intent, state)
    if isinstance(intent, want.ChangeTarget):
        return _change_target(state, intent.pole)
    if isinstance(intent, want.ChangeTolerance):
        return _next_tolerance(state, intent.steps)
    simple: dict[type, Callable[[float], events.AnyEvent]] = {
        want.Next: events.NextAsked,
        want.Back: events.BackAsked,
        want.Undo: events.UndoAsked,
        want.Bumped: events.TripodBumped,
        want.PutShiftAway: events.ShiftPutAway,
        want.Restart: events.RestartAsked,
        want.Lock: events.BaseLocked,
        want.Unlock: events.BaseUnlocked,
    }
    return simple.get(type(intent))


def read_off(advice: Advice, now: float | None, intent: want.ReadOff) -> tuple[str, float] | None:
    """The turn to report after a correction, with the key of the advice it answers; None where none is asked for."""
    if not isinstance(advice.action, Turn):
        return None
    turns = stepped_turns(advice.action.turns if now is None else now, intent.steps)
    return advice.key, -turns if intent.other_way else turns


def _drift(intent: want.WatchDrift, state: NightState) -> MakeEvent | None:
    plan, watch = state.plan, state.drift
    if plan is None:
        return None
    side = watch.side if watch is not None else free_side(plan)
    if intent.other_side:
        side = "west" if side == "east" else "east"
    stood = intent.stood or (watch is not None and watch.stood)
    return lambda at_s: events.DriftAsked(at_s, side, stood)


def _change_target(state: NightState, pole: str) -> MakeEvent | None:
    """To the pole of that name, or to the next one."""
    plan = state.plan
    if plan is None:
        return None
    following = TARGETS[(TARGETS.index(plan.target) + 1) % len(TARGETS)]
    target = TargetPole[pole] if pole in TargetPole.__members__ else following
    altitude = pole_altitude_rad(plan.site, standard_atmosphere(plan.site), target)
    return lambda at_s: events.TargetChanged(at_s, target, max(0.0, altitude))


def _next_tolerance(state: NightState, steps: int) -> MakeEvent | None:
    plan = state.plan
    if plan is None:
        return None
    now = plan.tolerance_rad * ARCMIN_PER_RAD
    nearest = min(range(len(TOLERANCES_ARCMIN)), key=lambda i: abs(TOLERANCES_ARCMIN[i] - now))
    wanted = TOLERANCES_ARCMIN[min(len(TOLERANCES_ARCMIN) - 1, max(0, nearest + steps))] / ARCMIN_PER_RAD
    return lambda at_s: events.ToleranceChanged(at_s, wanted)


def over(state: NightState) -> bool:
    """The alignment is proved, or taken as it is."""
    return state.aligned
