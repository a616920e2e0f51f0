"""The buttons and menu lines of a night, each with its key: first what the instruction asks for."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import assert_never

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import TargetPole
from polewright.core.night import advice as said
from polewright.core.night import events
from polewright.core.night.advice import Advice
from polewright.core.night.events import NOW
from polewright.core.night.states import NightPlan, Running, Stage
from polewright.core.sky.places import pole_altitude_rad
from polewright.core.unsolved import FrameTrouble, trouble_of
from polewright.practice.fingers import by_hand
from polewright.ui import intents as want
from polewright.ui.presenting.drift import drift_actions
from polewright.ui.presenting.proof import watch_actions
from polewright.ui.view_model import Action, Rehearsal, Weight
from polewright.words.clock import set_label
from polewright.words.numbers import sense_text, sigma_text, turns_text
from polewright.words.plan import aim_words
from polewright.words.window import AT_WORK, FIRST_STAGE, NO_CLICK, NOTHING_YET

EDIT_SITE, SET_CLOCK = "Ctrl+I", "Ctrl+K"
SET_UP = "Mount is set up"
TARGETS = (TargetPole.TRUE, TargetPole.BETWEEN, TargetPole.REFRACTED)
TOLERANCES_ARCMIN = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
AMOUNTS = ((0.25, "4"), (0.5, "5"), (1.0, "6"), (2.0, "7"))


def actions(
    state: Running,
    advice: Advice,
    rehearsal: Rehearsal | None,
    read_off: float | None = None,
    clock_ahead_s: float | None = None,
) -> tuple[Action, ...]:
    """Everything that can be pressed now. `read_off`: the turn about to be reported, None as told. `clock_ahead_s`:
    what the frames' clock should be set by, None where it is not doubted."""
    asked = _asked(state, advice, rehearsal, read_off)
    if clock_ahead_s is not None:
        asked = (*asked, _set_clock(state, advice, clock_ahead_s))
    crowded = any(action.weight is Weight.PLAIN for action in asked)
    taken = {action.key for action in asked} | ({EDIT_SITE} if rehearsal is not None else set())
    always = _always(state, advice, Weight.MENU if crowded else Weight.PLAIN)
    return (*asked, *(action for action in always if action.key not in taken))


def _asked(state: Running, advice: Advice, rehearsal: Rehearsal | None, read_off: float | None) -> tuple[Action, ...]:
    action = advice.action
    if rehearsal is not None and by_hand(action):
        told = replace(_primary("Do it for me", want.DoAsTold()), enabled=not rehearsal.busy, why_not=AT_WORK)
        return (told, *_beside(state, action, Weight.PRIMARY))
    match action:
        case said.Turn():
            return _led(state, action, read_off) if state.walking else _turns(action, read_off)
        case said.SetUp():
            return _yes(state, action, SET_UP, events.NextAsked(NOW))
        case said.Do.LOCK:
            return _yes(state, action, "Locks are tight", events.BaseLocked(NOW))
        case said.Do.UNLOCK:
            return _yes(state, action, "Locks are loose", events.BaseUnlocked(NOW))
        case said.Do.GO_ON:
            label = "Correct it" if state.stage is Stage.PROOF else "Prove it"
            return _yes(state, action, label, events.NextAsked(NOW))
        case said.Do.ACCEPT:
            return (_primary("Take it as it is", events.Accepted(NOW)),)
        case said.Point() if state.second_sky is not None and not isinstance(advice.reason, said.NothingThere):
            return (_primary("Prove it here", events.NextAsked(NOW)), *_beside(state, action, Weight.PLAIN))
        case said.Do.ANSWER:
            told = _primary("Guiding is off", events.GuidingTold(NOW, off=True))
            on = Action("Guiding is on", "G", events.GuidingTold(NOW, off=False), Weight.PRIMARY)
            said_on = isinstance(advice.reason, said.GuidingAsked) and advice.reason.on
            asked = (told,) if said_on else (told, on)
            return (*asked, *_beside(state, action, Weight.PLAIN))
        case said.Do.NUDGE:
            return _yes(state, action, "I nudge it now", events.DeclinationNudged(NOW))
        case said.Do.GO_BACK:
            return _yes(state, action, "Go back", events.BackAsked(NOW))
        case said.Do.START_AGAIN:
            return (*_yes(state, action, "Start again", events.RestartAsked(NOW)), *_untold_nudge(advice))
        case said.Do.TIGHTEN_CLUTCH:
            return _yes(state, action, "Tight: start again", events.RestartAsked(NOW))
        case said.Do.RESUME:
            return _yes(state, action, "Resume", events.ResumeAsked(NOW))
        case said.Do.RESTORE_FOLDER:
            return _yes(state, action, "Choose another folder", want.ChooseFolder())
        case said.Done() | said.Do.MEASURE_AGAIN if state.watching is not None:
            return watch_actions(state.watching)
        case said.Done():
            finer = Action("Align more closely", "F", events.BackAsked(NOW), Weight.PRIMARY)
            return (_primary("Done for tonight", want.LeaveNight()), finer)
        case said.Wait() if _site_doubted(advice) and rehearsal is None:
            return (
                _primary("Use the site of the frames", want.MendSite(by_frames=True)),
                Action("Edit site and clock", EDIT_SITE, want.MendSite(), Weight.PRIMARY),
            )
        case (
            said.RotateAxis()
            | said.Point()
            | said.Wait()
            | said.Expose()
            | said.Do.REFOCUS
            | said.Do.ENTER_SITE
            | said.Do.MEASURE_AGAIN
        ):
            if state.stage is Stage.ORIENTATION:  # frames that fail hold nobody up
                return (Action(SET_UP, "Return", events.NextAsked(NOW), Weight.PLAIN),)
            return _beside(state, action, Weight.PLAIN)
        case _:
            assert_never(action)


def _untold_nudge(advice: Advice) -> tuple[Action, ...]:
    if not isinstance(advice.reason, said.DriftDisturbed) or not advice.reason.nudge:
        return ()
    return (Action("That was my nudge", "N", events.DeclinationNudged(NOW), Weight.PRIMARY),)


def _set_clock(state: Running, advice: Advice, ahead_s: float) -> Action:
    """Beside the instruction where the clock may be what is wrong."""
    loud = state.stage is Stage.ORIENTATION or _site_doubted(advice)
    label = set_label(ahead_s - state.plan.clock_ahead_s)
    return Action(label, SET_CLOCK, want.SetClock(ahead_s), Weight.PRIMARY if loud else Weight.MENU)


def _site_doubted(advice: Advice) -> bool:
    """Whether the frames show a sky that this site cannot have at their time."""
    why = advice.reason
    return isinstance(why, said.FramesFail) and trouble_of(why.why) is FrameTrouble.WRONG_SKY


def _yes(state: Running, action: said.Action, label: str, intent: want.Intent) -> tuple[Action, ...]:
    """The key that says that it is done, and what may be said instead."""
    return (_primary(label, intent), *_beside(state, action, Weight.PRIMARY))


def _beside(state: Running, action: said.Action, weight: Weight) -> tuple[Action, ...]:
    """What may be pressed instead of what is asked for: never by the key that says yes."""
    if state.stage is Stage.CAPTURE and state.capture.axis is not None:
        return (Action(f"Go on with {sigma_text(state.capture.axis.sigma_rad)}", "F", events.NextAsked(NOW), weight),)
    if state.stage in (Stage.ROUGH, Stage.FINE) and state.offset is not None and action is not said.Do.GO_ON:
        label, intent = (
            ("To fine", events.NextAsked(NOW)) if state.stage is Stage.ROUGH else ("Finish", events.Accepted(NOW))
        )
        return (Action(label, "F", intent, weight),)
    if state.stage is Stage.PROOF and not isinstance(action, said.Done):
        return (Action("Accept without proof", "F", events.Accepted(NOW), weight),)
    return ()


def _turns(turn: said.Turn, read_off: float | None) -> tuple[Action, ...]:
    """Report a turn as told, or as read off the screw head: the told amount, corrected step by step."""
    now = turn.turns if read_off is None else read_off
    label = "Turned as told" if read_off is None else f"Turned {turns_text(now, True)} {'↻' if now >= 0.0 else '↺'}"
    amounts = tuple(
        Action(
            f"Turned {turns_text(size)} {sense_text(now)}",
            key,
            events.ScrewTurned(NOW, turn.screw, math.copysign(size, now)),
            Weight.MENU,
        )
        for size, key in AMOUNTS
    )
    return (
        _primary(label, events.ScrewTurned(NOW, turn.screw, read_off)),
        Action("Less", "1", want.ReadOff(-1), Weight.PRIMARY),
        Action("More", "2", want.ReadOff(1), Weight.PRIMARY),
        Action("Other way", "3", want.ReadOff(other_way=True), Weight.PRIMARY),
        Action("As asked", "0", want.ReadOff(0), Weight.PRIMARY),
        *amounts,
    )


def _led(state: Running, turn: said.Turn, read_off: float | None) -> tuple[Action, ...]:
    """Where the eye leads, nobody has to report: what was read off a head all the same waits in the menu."""
    now = turn.turns if read_off is None else read_off
    report = events.ScrewTurned(NOW, turn.screw, now)
    said_so = Action(f"Turned {turns_text(now, True)} {'↻' if now >= 0.0 else '↺'}", "9", report, Weight.MENU)
    beside = tuple(action for action in _turns(turn, read_off)[1:] if action.key != "0")
    menu = tuple(replace(action, weight=Weight.MENU) for action in beside)
    return (*_beside(state, turn, Weight.PLAIN), said_so, *menu)


def _lead(state: Running) -> tuple[Action, ...]:
    """A door between the two ways to be told, while frames come fast enough for both."""
    if not state.plan.walking or state.stage not in (Stage.ROUGH, Stage.FINE):
        return ()
    label = "Let the marker lead" if state.plan.told else "Give turns as numbers"
    return (Action(label, "N", events.LeadSwitched(NOW, not state.plan.told), Weight.MENU),)


def _lesson(state: Running, advice: Advice) -> tuple[Action, ...]:
    """Learn the screw in hand by turns of its own."""
    if not isinstance(advice.action, said.Turn) or state.stage not in (Stage.ROUGH, Stage.FINE):
        return ()
    screw = advice.action.screw
    label = f"Learn the {screw.value} screw" if state.lesson is None else "Learned enough"
    return (Action(label, "8", events.LessonAsked(NOW, screw), Weight.MENU),)


def _primary(label: str, intent: want.Intent) -> Action:
    return Action(label, "Return", intent, Weight.PRIMARY)


def _always(state: Running, advice: Advice, undo: Weight) -> tuple[Action, ...]:
    correcting = state.stage in (Stage.ROUGH, Stage.FINE)
    first, nothing = state.stage is Stage.ORIENTATION, state.undo is None
    lines = [
        Action("Back", "Backspace", events.BackAsked(NOW), enabled=not first, why_not=FIRST_STAGE),
        Action(
            "Undo",
            "Ctrl+Z",
            events.UndoAsked(NOW),
            undo,
            enabled=not nothing,
            why_not=NO_CLICK,
        ),
        Action("Resume", "P", events.ResumeAsked(NOW))
        if state.paused
        else Action("Pause", "P", events.PauseAsked(NOW)),
        Action("I bumped it", "B", events.TripodBumped(NOW), Weight.MENU, enabled=not first, why_not=NOTHING_YET),
        Action("Begin this stage again", "Ctrl+R", events.RestartAsked(NOW), Weight.MENU, not first, NOTHING_YET),
    ]
    if correcting and advice.action is not said.Do.LOCK:
        lines.append(Action("Locks are tight", "L", events.BaseLocked(NOW), Weight.MENU))
    if correcting and isinstance(advice.action, said.Turn):
        lines.append(Action("Finish here", "F", events.Accepted(NOW), Weight.MENU))
    return (
        *lines,
        *_lead(state),
        *_lesson(state, advice),
        *drift_actions(state),
        Action("Choose another folder", "Ctrl+O", want.ChooseFolder(), Weight.MENU),
        Action("Edit site, rig and clock", EDIT_SITE, want.MendSite(), Weight.MENU),
        Action("Tonight's plan", "E", want.ShowPlan(), Weight.MENU),
        *_of_plan(state.plan),
        Action("Export the night", "Ctrl+E", want.ExportNight(), Weight.MENU),
        Action("Leave this night", "Ctrl+W", want.LeaveNight(), Weight.MENU),
    )


def _of_plan(plan: NightPlan) -> list[Action]:
    """Another target pole, another tolerance."""
    following = TARGETS[(TARGETS.index(plan.target) + 1) % len(TARGETS)]
    return [
        Action(aim_words(following), "T", aim_at(plan, following), Weight.MENU),
        Action("Smaller tolerance tonight", "[", _tolerance(plan, -1), Weight.MENU),
        Action("Larger tolerance tonight", "]", _tolerance(plan, 1), Weight.MENU),
    ]


def aim_at(plan: NightPlan, target: TargetPole) -> events.TargetChanged:
    """Align to this pole from now on."""
    altitude = pole_altitude_rad(plan.site, plan.air, target)
    return events.TargetChanged(NOW, target, max(0.0, altitude))


def _tolerance(plan: NightPlan, steps: int) -> events.ToleranceChanged:
    now = plan.tolerance_rad * ARCMIN_PER_RAD
    nearest = min(range(len(TOLERANCES_ARCMIN)), key=lambda i: abs(TOLERANCES_ARCMIN[i] - now))
    wanted = TOLERANCES_ARCMIN[min(len(TOLERANCES_ARCMIN) - 1, max(0, nearest + steps))]
    return events.ToleranceChanged(NOW, wanted / ARCMIN_PER_RAD)
