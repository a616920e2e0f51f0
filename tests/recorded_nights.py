"""Nights recorded once and kept in tests/data/nights: how they are read, gone through again, and what is looked at.

Everything that the recorded nights ask of the program goes through the functions of the first half of this file. A
change of the program that moves or renames things changes these functions and nothing else: what they give for the
recorded nights (stages, numbers, decisions) stays the same. Sentences are not looked at; they may be reworded.
"""

from __future__ import annotations

import dataclasses
import json
import lzma
import math
from collections.abc import Iterator, Mapping
from enum import Enum
from pathlib import Path
from typing import Any

from polewright.core.night.advice import Advice, Do
from polewright.core.night.effects import Effect
from polewright.core.night.events import AnyEvent, AxisFollowed, AxisMeasured, DriftMeasured, Ticked
from polewright.core.night.states import NightState, Waiting
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewRate
from polewright.runtime.course import Course
from polewright.runtime.retrace import CheckedReplay, is_answer, retrace_to_the_end
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog, parse_night
from polewright.words.coach import say

FOLDER = Path(__file__).parent / "data" / "nights"
Facts = dict[str, Any]
RELATIVE, ABSOLUTE = 1e-9, 1e-20  # the covariances are of the order of 1e-12 rad^2

# what the program is asked


def facts_of(state: NightState) -> Facts:
    """Where the night stands: stage, overlays, and every number that a decision rests on."""
    if isinstance(state, Waiting):
        return {"stage": "ORIENTATION", "plan": None}
    offset, lesson, watching = state.offset, state.lesson, state.watching
    return {
        "stage": state.stage.name,
        "plan": [state.plan.target.name, state.plan.pole_altitude_rad, state.plan.tolerance_rad],
        "over": [state.paused, state.clouded, state.folder_lost],
        "frames": [state.frames_used, state.frames_unsolved],
        "trouble": state.trouble.count if state.trouble is not None else 0,
        "offset": None if offset is None else [offset.east_rad, offset.up_rad, *_upper(offset.covariance_rad2)],
        "readings": None if offset is None else offset.readings,
        "inside": state.inside,
        "stop_here": state.stop_here,
        "tracking": state.tracking,
        "kept": [len(state.capture.frames), len(state.proof.frames), state.capture.by_drift, state.drift is not None],
        "rates": [_rate(state.rate(screw)) for screw in Screw],
        "moves": [state.handling.turns_made, state.handling.goes, state.handling.opened_at is not None],
        "lesson": None if lesson is None else [lesson.screw.name, lesson.made],
        "locks": [state.locks.tight, list(state.locks.aim_rad), list(state.aim_rad), state.locks.shift_rad],
        "ended": [state.proved, state.accepted, state.refuted],
        "sky_turn": state.sky_turn_rad,
        "watch": None if watching is None else [watching.held, len(watching.vigil.shifts), watching.seen],
        "undo": state.undo is not None,
    }


def decision_of(advice: Advice) -> Facts:
    """What is to be done now, in numbers, and in what mood it is said."""
    if isinstance(advice.action, Do):
        return {"action": advice.action.name.title().replace("_", ""), "mood": advice.mood.name}
    numbers = {field.name: getattr(advice.action, field.name) for field in dataclasses.fields(advice.action)}
    return {"action": type(advice.action).__name__, **numbers, "mood": advice.mood.name}


def identity_of(advice: Advice) -> object:
    """Stays equal as long as the same thing is asked for."""
    return advice.errand


def sentences_of(advice: Advice) -> list[str]:
    """For reading only."""
    return list(say(advice))


def numbers_of(answer: AnyEvent) -> Facts:
    """The numbers that the engine computed; which kind of answer it is where there are none."""
    numbers: Facts = {"kind": type(answer).__name__}
    if isinstance(answer, AxisMeasured):
        axis = answer.axis
        numbers["axis"] = [axis.east_rad, axis.up_rad, *_upper(axis.covariance_rad2), axis.chi2, axis.dof]
        numbers["companion"] = [axis.companion_east_rad, axis.companion_up_rad]
        numbers["rotation"] = list(axis.rotation_rad)
        numbers["gains"] = [[gain.rotation_rad, gain.sigma_rad] for gain in axis.gains]
        numbers["doubted"] = [axis.suspect is not None, len(axis.warnings)]
    if isinstance(answer, AxisFollowed):
        followed = answer.axis
        numbers["axis"] = [followed.east_rad, followed.up_rad, *_upper(followed.covariance_rad2)]
        numbers["doubted"] = [followed.tracking, len(followed.warnings)]
    if isinstance(answer, DriftMeasured):
        drift = answer.reading
        numbers["axis"] = [drift.east_rad, drift.up_rad, *_upper(drift.covariance_rad2)]
        numbers["doubted"] = [drift.disturbed, drift.complete, len(drift.fields)]
    return numbers


class Retold:
    """A recorded night gone through again, line by line, as a replay does it."""

    def __init__(self) -> None:
        self._replay = CheckedReplay()
        self._effects: tuple[Effect, ...] = ()
        self._take = self._replay.course.take
        setattr(self._replay.course, "take", self._taken)  # noqa: B010  # to see the effects pass
        self._compared = 0

    def _taken(self, event: AnyEvent) -> tuple[Effect, ...]:
        self._effects = self._take(event)
        return self._effects

    def take(self, line: LoggedEvent) -> AnyEvent | None:
        """One line further; the event it was."""
        return self._replay.take(line)

    @property
    def state(self) -> NightState:
        return self._replay.course.state

    @property
    def advice(self) -> Advice:
        return self._replay.course.advice

    @property
    def effects(self) -> list[str]:
        """The kinds of the effects of the latest event."""
        return [type(effect).__name__ for effect in self._effects]

    @property
    def answers_computed(self) -> int:
        return self._replay.numbers_checked

    def newly_different(self) -> Iterator[tuple[object, object]]:
        """Recorded and computed: what has differed, beyond rounding, since this was last asked."""
        differences = self._replay.differences[self._compared :]
        self._compared += len(differences)
        for difference in differences:
            yield difference.recorded, difference.computed


def resumed_state(log: NightLog) -> NightState:
    """The state in which a crash at the end of this log finds itself again."""
    course = Course()
    retrace_to_the_end(course, log)
    return course.state


def _upper(covariance: tuple[tuple[float, float], tuple[float, float]]) -> list[float]:
    (ee, eu), (_, uu) = covariance
    return [ee, eu, uu]


def _rate(rate: ScrewRate | None) -> list[Any] | None:
    if rate is None:
        return None
    return [rate.arcmin_per_turn, rate.sigma_arcmin, rate.backlash_turns, rate.sigma_backlash, rate.moves]


# the files


def names() -> list[str]:
    """The nights that are kept."""
    return sorted(path.name.removesuffix(".jsonl.xz") for path in FOLDER.glob("*.jsonl.xz"))


def read_log(name: str) -> NightLog:
    """The record of a night, through the reader of the program."""
    return parse_night(lzma.decompress((FOLDER / f"{name}.jsonl.xz").read_bytes()), name)


def read_expected(name: str) -> list[Facts]:
    """What came of each of its events when it was recorded."""
    text = lzma.decompress((FOLDER / f"{name}.expected.xz").read_bytes()).decode()
    return [json.loads(line, object_hook=_without_announcements) for line in text.splitlines()]


def _without_announcements(told: Facts) -> Facts:
    """Nobody read that a stage was entered: the effect is gone."""
    if "effects" in told:
        told["effects"] = [name for name in told["effects"] if name != "EnterStage"]
    return told


def write_night(name: str, lines: bytes) -> int:
    """Keep a night and what comes of it by the program as it is; the bytes that both take."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    (FOLDER / f"{name}.jsonl.xz").write_bytes(_packed(lines))
    expect_again(name)
    return sum((FOLDER / f"{name}.{kind}.xz").stat().st_size for kind in ("jsonl", "expected"))


def expect_again(name: str) -> None:
    """Keep what comes of a kept record now: after a decision has been changed on purpose."""
    told = [json.dumps(outcome, separators=(",", ":")) for outcome in outcomes(read_log(name))]
    (FOLDER / f"{name}.expected.xz").write_bytes(_packed("\n".join(told).encode()))


def _packed(content: bytes) -> bytes:
    return lzma.compress(content, preset=9 | lzma.PRESET_EXTREME)


# going through


def outcomes(log: NightLog) -> Iterator[Facts]:
    """What comes of each event, in order: facts (but for ticks, which change none), decision, effects, answers."""
    retold = Retold()
    before: object = None
    for line in log.events:
        event = retold.take(line)
        if event is None:
            continue
        outcome: Facts = {"seq": line.seq, "event": type(event).__name__}
        if not isinstance(event, Ticked):
            outcome["facts"] = facts_of(retold.state)
        outcome["decision"] = decision_of(retold.advice)
        outcome["fresh"] = identity_of(retold.advice) != before
        if outcome["fresh"]:
            outcome["said"] = sentences_of(retold.advice)
        before = identity_of(retold.advice)
        outcome["effects"] = retold.effects
        if is_answer(event):
            outcome["answer"] = numbers_of(event)
            outcome["computed"] = _computed(retold, event)
        yield plain(outcome)


def _computed(retold: Retold, event: AnyEvent) -> Facts:
    """What was computed again for an answer; the recorded one where both are the same but for rounding."""
    different = dict(retold.newly_different())
    if not different:
        return numbers_of(event)
    computed = different.get(event)
    return {"kind": None} if computed is None else numbers_of(computed)  # type: ignore[arg-type]


def plain(value: object) -> Any:
    """As JSON gives it back; numbers that JSON has none for as text."""
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    return value


def disagreement(
    expected: object, found: object, where: str = "", relative: float = RELATIVE, absolute: float = ABSOLUTE
) -> str | None:
    """The first place where two outcomes differ; numbers count as equal to a share of their size."""
    if isinstance(expected, dict) and isinstance(found, dict):
        pairs = [(f"{where}.{key}", expected.get(key), found.get(key)) for key in {**expected, **found}]
    elif isinstance(expected, list) and isinstance(found, list) and len(expected) == len(found):
        pairs = [(f"{where}[{i}]", e, f) for i, (e, f) in enumerate(zip(expected, found, strict=True))]
    elif isinstance(expected, float) and isinstance(found, float | int):
        same = math.isclose(expected, found, rel_tol=relative, abs_tol=absolute)
        return None if same else f"{where}: {expected!r} became {found!r}"
    else:
        return None if expected == found else f"{where}: {expected!r} became {found!r}"
    return next((d for at, e, f in pairs if (d := disagreement(e, f, at, relative, absolute)) is not None), None)
