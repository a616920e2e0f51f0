"""The buttons and menu lines of a night, each with its key: first what the instruction asks for."""

from __future__ import annotations

import math

from polewright.core.night import advice as said
from polewright.core.night.advice import Advice
from polewright.core.night.states import NightState, Stage
from polewright.ui import intents as want
from polewright.ui.intents import ScrewName
from polewright.ui.presenting.drift_page import drift_actions
from polewright.ui.presenting.watch_page import watch_actions
from polewright.ui.view_model import Action, Weight
from polewright.words.numbers import sense_text, turns_text

AMOUNTS = ((0.25, "4"), (0.5, "5"), (1.0, "6"), (2.0, "7"))


def actions(state: NightState, advice: Advice, rehearsing: bool, read_off: float | None = None) -> tuple[Action, ...]:
    """Everything that can be pressed now. `read_off`: the turn about to be reported, None as told."""
    asked = _asked(state, advice, rehearsing, read_off)
    crowded = any(action.weight is Weight.PLAIN for action in asked)
    taken = {action.key for action in asked}
    always = _always(state, advice, Weight.MENU if crowded else Weight.PLAIN)
    return (*asked, *(action for action in always if action.key not in taken))


def _asked(state: NightState, advice: Advice, rehearsing: bool, read_off: float | None) -> tuple[Action, ...]:
    action = advice.action
    if rehearsing and _can_be_done(action):
        return (_primary("Do as told", want.DoAsTold()), *_beside(state, action, Weight.PRIMARY))
    if isinstance(action, said.Turn):
        return _turns(action, read_off)
    simple: dict[type, tuple[str, want.Intent]] = {
        said.SetUp: ("It stands", want.Next()),
        said.Lock: ("Locks are tight", want.Lock()),
        said.Unlock: ("Locks are loose", want.Unlock()),
        said.GoOn: ("Prove it", want.Next()),
        said.GoBack: ("Go back", want.Back()),
        said.StartAgain: ("Start again", want.Restart()),
        said.TightenClutch: ("Tight: start again", want.Restart()),
        said.Resume: ("Resume", want.Pause()),
        said.RestoreFolder: ("Choose another folder", want.ChooseFolder()),
    }
    if type(action) in simple:
        label, intent = simple[type(action)]
        return (_primary(label, intent), *_beside(state, action, Weight.PRIMARY))
    if isinstance(action, said.Done | said.MeasureAgain) and state.watching is not None:
        return watch_actions(state.watching)
    if isinstance(action, said.Done):
        return (
            _primary("Done for tonight", want.LeaveNight()),
            Action("Make it finer", "F", want.Back(), Weight.PRIMARY),
        )
    return _beside(state, action, Weight.PLAIN)


def _can_be_done(action: said.Action) -> bool:
    """What simulated hands can do."""
    return isinstance(
        action,
        said.SetUp
        | said.Turn
        | said.RotateAxis
        | said.Point
        | said.Lock
        | said.Unlock
        | said.Expose
        | said.Refocus
        | said.TightenClutch
        | said.StartAgain
        | said.GoOn
        | said.GoBack,
    )


def _beside(state: NightState, action: said.Action, weight: Weight) -> tuple[Action, ...]:
    """What may be pressed instead of what is asked for: never by the key that says yes."""
    if state.stage is Stage.CAPTURE and state.capture.axis is not None:
        return (Action("Good enough, go on", "F", want.Next(), weight),)
    if state.stage in (Stage.ROUGH, Stage.FINE) and state.offset is not None and not isinstance(action, said.GoOn):
        label, intent = ("To fine", want.Next()) if state.stage is Stage.ROUGH else ("Finish", want.Finish())
        return (Action(label, "F", intent, weight),)
    if state.stage is Stage.PROOF and not isinstance(action, said.Done):
        return (Action("Accept without proof", "F", want.Finish(), weight),)
    return ()


def _turns(turn: said.Turn, read_off: float | None) -> tuple[Action, ...]:
    """Report a turn as told, or as read off the screw head: the told amount, corrected step by step."""
    screw: ScrewName = "azimuth" if turn.screw.value == "azimuth" else "altitude"
    now = turn.turns if read_off is None else read_off
    label = "Turned as told" if read_off is None else f"Turned {turns_text(now, True)} {'↻' if now >= 0.0 else '↺'}"
    amounts = tuple(
        Action(
            f"Turned {turns_text(size)} {sense_text(now)}",
            key,
            want.UserTurned(screw, math.copysign(size, now)),
            Weight.MENU,
        )
        for size, key in AMOUNTS
    )
    return (
        _primary(label, want.UserTurned(screw, read_off)),
        Action("Less", "1", want.ReadOff(-1), Weight.PRIMARY),
        Action("More", "2", want.ReadOff(1), Weight.PRIMARY),
        Action("Other way", "3", want.ReadOff(other_way=True), Weight.PRIMARY),
        Action("On the dot", "0", want.ReadOff(0), Weight.PRIMARY),
        *amounts,
    )


def _lesson(state: NightState, advice: Advice) -> tuple[Action, ...]:
    """Learn the screw in hand by turns of its own."""
    if not isinstance(advice.action, said.Turn) or state.stage not in (Stage.ROUGH, Stage.FINE):
        return ()
    screw: ScrewName = "azimuth" if advice.action.screw.value == "azimuth" else "altitude"
    label = f"Learn the {screw} screw" if state.lesson is None else "Learned enough"
    return (Action(label, "8", want.LearnScrew(screw), Weight.MENU),)


def _primary(label: str, intent: want.Intent) -> Action:
    return Action(label, "Return", intent, Weight.PRIMARY)


def _always(state: NightState, advice: Advice, undo: Weight) -> tuple[Action, ...]:
    correcting = state.stage in (Stage.ROUGH, Stage.FINE)
    first, nothing = state.stage is Stage.ORIENTATION, state.undo is None
    lines = [
        Action("Back", "Backspace", want.Back(), enabled=not first, why_not="This is the first stage."),
        Action("Undo", "Ctrl+Z", want.Undo(), undo, enabled=not nothing, why_not="There is no click to take back."),
        Action("Resume" if state.paused else "Pause", "P", want.Pause()),
        Action("I bumped it", "B", want.Bumped(), Weight.MENU, enabled=not first),
        Action("Begin this stage again", "Ctrl+R", want.Restart(), Weight.MENU, enabled=not first),
    ]
    if correcting and not isinstance(advice.action, said.Lock):
        lines.append(Action("Locks are tight", "L", want.Lock(), Weight.MENU))
    if correcting and isinstance(advice.action, said.Turn):
        lines.append(Action("Finish here", "F", want.Finish(), Weight.MENU))
    return (
        *lines,
        *_lesson(state, advice),
        *drift_actions(state),
        Action("Choose another folder", "Ctrl+O", want.ChooseFolder(), Weight.MENU),
        Action("Tonight's plan", "E", want.ShowPlan(), Weight.MENU),
        Action("Change the target pole", "T", want.ChangeTarget(), Weight.MENU),
        Action("Need it finer tonight", "[", want.ChangeTolerance(-1), Weight.MENU),
        Action("Coarser will do tonight", "]", want.ChangeTolerance(1), Weight.MENU),
        Action("Write out the night", "Ctrl+E", want.ExportNight(), Weight.MENU),
        Action("Leave this night", "Ctrl+W", want.LeaveNight(), Weight.MENU),
    )
