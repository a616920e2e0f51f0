"""Moments of the kept nights, asked everything: what each click would do, what each function of the state says.

A record goes one way; here every moment is left in some forty ways more. The functions are all those of `core/night`,
also the inner ones, whose arguments the state itself supplies: an offset, a screw, the present walk or drift. Of both
numbers, flags and sides are kept, no wording. A function that is renamed is asked no more until all is kept anew.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import json
import lzma
import pkgutil
import typing
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from types import UnionType
from typing import Any, Literal

import polewright.core.night as rooms
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import TargetPole
from polewright.core.night import events as ev
from polewright.core.night.advise import advise
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame
from polewright.core.night.states import Capture, Handling, Running
from polewright.core.night.table import step
from polewright.core.night.witness import together
from polewright.core.offset import Offset
from polewright.core.screws.angles import Screw, ScrewAngles
from polewright.core.screws.walk import Walk
from polewright.core.vigil.watching import Watching
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from recorded_nights import FOLDER, names, plain, read_log
from shown_nights import figures

ARCMIN = 1.0 / ARCMIN_PER_RAD


def choose_moments() -> dict[str, list[int]]:
    """Lines of the records, night by night, at which a reason of the coach is first met in a stage, led or told."""
    met = set[object]()
    chosen: dict[str, list[int]] = {}
    for name in names():
        course = Course()
        for line, event in recorded_events(read_log(name)):
            course.take(event)
            kind = _kind(course)
            if kind is not None and kind not in met:
                met.add(kind)
                chosen.setdefault(name, []).append(line.seq)
    return chosen


def _kind(course: Course) -> object:
    state = course.state
    return (state.stage, type(course.advice.reason), state.walking) if isinstance(state, Running) else None


def probed(name: str, lines: list[int]) -> Iterator[tuple[int, dict[str, Any]]]:
    """What is said and done at these lines of a record."""
    course = Course()
    for line, event in recorded_events(read_log(name)):
        course.take(event)
        if line.seq in lines:
            assert isinstance(course.state, Running)
            yield line.seq, {"says": _says(course.state), "does": _does(course.state, event)}
        if line.seq == lines[-1]:
            return


# what would happen


def _does(state: Running, latest: ev.AnyEvent) -> dict[str, Any]:
    """Click by click and frame by frame: what would change, what is asked of the engine, what the coach says then."""
    told, errands = {}, set[object]()
    for number, event in enumerate(_events(state, latest)):
        after, effects = step(state, event)
        advice = advise(after)
        found = [_changed(state, after), figures(effects), figures(advice)]
        if isinstance(after, Running) and advice.errand not in errands:
            errands.add(advice.errand)
            found.append(figures(present(after, advice, Extras(after.now_s))))
        told[f"{number} {type(event).__name__}"] = found
    return told


def _changed(before: Any, after: Any) -> Any:
    """The fields that are not the same any more, and in them only what has changed."""
    if not dataclasses.is_dataclass(after) or type(before) is not type(after):
        return figures(after)
    pairs = {f.name: (getattr(before, f.name), getattr(after, f.name)) for f in dataclasses.fields(after)}
    return {name: _changed(*pair) for name, pair in pairs.items() if pair[0] is not pair[1] and name != "undo"}


def _events(state: Running, latest: ev.AnyEvent) -> Iterator[ev.AnyEvent]:
    soon, plan = state.now_s + 3.0, state.plan
    yield from (kind(soon) for kind in _CLICKS)
    yield from (ev.ScrewTurned(soon, screw, turns) for screw in Screw for turns in (None, 0.5, -0.25))
    yield from (ev.LessonAsked(soon, screw) for screw in Screw)
    yield from (kind(soon, on) for kind in _SWITCHES for on in (True, False))
    yield from (ev.DriftAsked(soon, side, stood=side == "west") for side in _SIDES)
    yield ev.TargetChanged(soon, TargetPole.REFRACTED, plan.pole_altitude_rad + ARCMIN)
    yield from (ev.ToleranceChanged(soon, plan.tolerance_rad * share) for share in (0.3, 4.0))
    yield ev.SkyMended(soon, plan.site, plan.pole_altitude_rad - ARCMIN, plan.air, clock_ahead_s=4.0)
    yield ev.RigMended(soon, "another", altitude=state.azimuth, azimuth=state.altitude)
    yield from (ev.Ticked(soon + wait) for wait in (0.0, 20.0, 400.0))
    yield replace(latest, at_s=soon)
    if state.offset is not None:
        moves = ((0.0, 0.0), (0.5, -0.2), (-8.0, 3.0))
        yield from (ev.AxisFollowed(soon, "next", _followed(state.offset, *move)) for move in moves)
        yield from (ev.AxisMeasured(soon, _measured(state, state.offset, *move)) for move in moves)
    if state.last_frame is not None:
        yield ev.FrameSolved(soon, replace(state.last_frame, name="next"))
    if state.drift is not None and (told := state.drift.reading) is not None:
        yield ev.DriftMeasured(soon, replace(told, east_rad=told.up_rad, up_rad=told.east_rad - ARCMIN))


_CLICKS = (
    ev.NextAsked, ev.BackAsked, ev.RestartAsked, ev.PauseAsked, ev.ResumeAsked, ev.UndoAsked, ev.TripodBumped,
    ev.BaseLocked, ev.BaseUnlocked, ev.Accepted, ev.ShiftPutAway, ev.DeclinationNudged, ev.FolderLost, ev.FolderBack,
)  # fmt: skip
_SWITCHES = (ev.TrackingSwitched, ev.LeadSwitched, ev.GuidingSwitched, ev.GuidingTold)
_SIDES: tuple[Literal["east", "west"], ...] = ("east", "west")


def _followed(at: Offset, east: float, up: float) -> FollowedAxis:
    return FollowedAxis(at.east_rad + east * ARCMIN, at.up_rad + up * ARCMIN, ((1e-10, 2e-11), (2e-11, 3e-10)), "on")


def _measured(state: Running, at: Offset, east: float, up: float) -> MeasuredAxis:
    there = (at.east_rad + east * ARCMIN, at.up_rad + up * ARCMIN)
    turn = state.proof if state.proof.frames else state.capture
    seen = tuple(frame.name for frame in turn.frames)
    if turn.axis is None:
        return MeasuredAxis(*there, ((1e-10, 2e-11), (2e-11, 3e-10)), frames=seen)
    return replace(turn.axis, east_rad=there[0], up_rad=there[1], frames=seen)


# what is said


def _says(state: Running) -> dict[str, Any]:
    """Every function that the state can be asked, by its name, and every property of the state."""
    found = {}
    for name, function in _functions():
        for number, arguments in enumerate(_supplied(function, state)):
            told = _answer(lambda f=function, a=arguments: f(*a))  # type: ignore[misc]
            if not isinstance(told, Running):
                found[f"{name} {number}"] = told
    for name, value in inspect.getmembers(Running, lambda member: isinstance(member, property)):
        assert value.fget is not None
        found[f"state.{name}"] = _answer(lambda get=value.fget: get(state))  # type: ignore[misc]
    return found


def _answer(ask: Callable[[], object]) -> Any:
    """A question that makes no sense at this moment is answered by what it raises."""
    try:
        told = ask()
    except Exception as error:
        return type(error).__name__
    if isinstance(told, tuple) and told and isinstance(told[0], Running):
        return figures(told[1])
    return told if isinstance(told, Running) else figures(list(told) if isinstance(told, Iterator) else told)


@cache
def _functions() -> tuple[tuple[str, Callable[..., object]], ...]:
    found = []
    for module in pkgutil.walk_packages(rooms.__path__, rooms.__name__ + "."):
        room = importlib.import_module(module.name)
        own = (f for _, f in inspect.getmembers(room, inspect.isfunction) if f.__module__ == module.name)
        found += [(f"{module.name.removeprefix('polewright.core.night.')}.{f.__name__}", f) for f in own]
    return tuple(found)


@cache
def _asked(function: Callable[..., object]) -> tuple[tuple[str, object], ...] | None:
    """Its arguments, by name and type; None where it is no question to a state."""
    told = typing.get_type_hints(function)
    needed = [p.name for p in inspect.signature(function).parameters.values() if p.default is p.empty]
    asked = tuple((name, told.get(name)) for name in needed)
    return asked if any(of in (Running, Handling, DriftWatch, Walk, Offset) for _, of in asked) else None


def _supplied(function: Callable[..., object], state: Running) -> Iterator[list[object]]:
    """The arguments that the state has for it: twice where a screw is asked for, the second time the other one."""
    asked = _asked(function)
    for screw in Screw:
        arguments = [_argument(name, of, state, screw) for name, of in asked or ()]
        if asked is None or None in arguments:
            return
        yield arguments
        if all(of is not Screw for _, of in asked):
            return


def _argument(name: str, of: object, state: Running, screw: Screw) -> object:
    if isinstance(of, UnionType):
        of = typing.get_args(of)[0]
    at = state.offset
    there = None if at is None else replace(at, east_rad=at.east_rad + 0.7 * ARCMIN, up_rad=at.up_rad - 1.9 * ARCMIN)
    if of is float:
        return {"tolerance_rad": state.plan.tolerance_rad}.get(name, 0.31)
    if of is Offset:
        return there if name == "here" else at
    if of is ScrewAngles:
        return None if at is None or there is None else state.angles(there if name == "end" else at)
    supplied: dict[object, object] = {
        Running: state, Screw: screw, Handling: state.handling, DriftWatch: state.drift, Walk: state.handling.walk,
        Capture: state.capture, PlacedFrame: state.last_frame, Watching: state.watching, bool: True,
        dict[Screw, float]: {Screw.AZIMUTH: 0.5, Screw.ALTITUDE: -0.25},
    }  # fmt: skip
    if getattr(of, "__name__", "") == "Joint":
        return together(state)
    return supplied.get(of)


# the file

FILE = FOLDER / "probed.json.xz"


@cache
def kept() -> dict[str, Any]:
    """What was kept: night by night, line by line."""
    told: dict[str, Any] = json.loads(lzma.decompress(FILE.read_bytes()))
    return told


def keep_probed() -> None:
    """Keep what is said and done now: after that has been changed on purpose."""
    told = {name: {str(line): at for line, at in probed(name, lines)} for name, lines in choose_moments().items()}
    text = json.dumps(plain(told), separators=(",", ":"))
    FILE.write_bytes(lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME))
