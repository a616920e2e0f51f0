"""`polewright replay NIGHT`: a recorded night again, every number computed anew and compared."""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from polewright.commands.line import EXIT_NOT_MEASURABLE, EXIT_OK
from polewright.commands.output import json_text
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import UsageError
from polewright.core.night.events import AnyEvent
from polewright.core.night.witness import told_offset
from polewright.runtime.retrace import EVENT_KIND, CheckedReplay
from polewright.runtime.story import Story
from polewright.services.clock import SystemClock
from polewright.services.log_format import LoggedEvent
from polewright.services.night_log import NightLog, read_night
from polewright.words.coach import say
from polewright.words.deeds import deed_text

SHOWN_DIFFERENCES = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which night, and at what pace."""
    parser.add_argument("night", type=Path, metavar="NIGHT", help="the folder of a night, or its night.jsonl")
    parser.add_argument("--speed", type=float, metavar="X", help="1 to 100 times as fast (default: at once)")
    parser.add_argument("--step", action="store_true", help="wait for the return key before every event")
    parser.add_argument("--json", action="store_true", help="print one JSON object a line instead of sentences")


def run(args: argparse.Namespace) -> int:
    """Replay and compare; exit code 3 when a number did not come out again."""
    if args.step and args.speed is not None:
        raise UsageError("--step and --speed do not go together: choose one.")
    log = read_night(args.night)
    replay = CheckedReplay()
    tell = JsonReplayTeller(replay) if args.json else SentenceReplayTeller(replay, log)
    for line in paced(log, args.speed, args.step):
        event = replay.take(line)
        if event is not None:
            tell.event(event)
    tell.end(log)
    return EXIT_OK if log.whole and not replay.differences else EXIT_NOT_MEASURABLE


def paced(log: NightLog, speed: float | None, step: bool) -> Iterator[LoggedEvent]:
    """The lines of the log, each when its time has come."""
    if step:
        for line in log.events:
            yield line
            if line.kind == EVENT_KIND:
                sys.stdin.readline()
    elif speed is None:
        yield from log.events
    else:
        yield from at_speed(log.events, speed, SystemClock().monotonic_s, threading.Event().wait)


def at_speed(
    lines: Sequence[LoggedEvent], speed: float, now_s: Callable[[], float], wait: Callable[[float], object]
) -> Iterator[LoggedEvent]:
    """The lines, `speed` times as fast as they were written, each when its time has come."""
    begun_s = now_s()
    for line in lines:
        due_s = begun_s + (line.t_s - lines[0].t_s) / speed
        wait(max(0.0, due_s - now_s()))
        yield line


class SentenceReplayTeller:
    """Tells the replay to a person."""

    def __init__(self, replay: CheckedReplay, log: NightLog) -> None:
        self._replay = replay
        self._story = Story(lambda text: print(text, flush=True))
        for problem in log.problems:
            print(f"Note: {problem}")

    def event(self, event: AnyEvent) -> None:
        """One event has been played."""
        text = deed_text(event)
        if text:
            self._story.deed(event.at_s, text)
        if not self._replay.between_answers:
            self._story.state(self._replay.course.state, self._replay.course.advice)

    def end(self, log: NightLog) -> None:
        """Whether everything came out again."""
        print()
        for d in self._replay.differences[:SHOWN_DIFFERENCES]:
            print(f"Line {d.seq}: {d.what} differs.\n  recorded {d.recorded}\n  computed {d.computed}")
        count, checked = len(self._replay.differences), self._replay.numbers_checked
        if not log.whole:
            print("The record is not whole: lines are missing, damaged or out of their place.")
        if count:
            print(f"{count} of {checked} results did not come out again.")
        else:
            print(f"{len(log.events)} lines; {checked} results computed again, all came out as recorded.")


class JsonReplayTeller:
    """One JSON object for each event, the comparison last."""

    def __init__(self, replay: CheckedReplay) -> None:
        self._replay = replay

    def event(self, event: AnyEvent) -> None:
        """One event has been played."""
        state, advice = self._replay.course.state, self._replay.course.advice
        offset = told_offset(state)
        facts: dict[str, Any] = {
            "at_s": event.at_s,
            "event": type(event).__name__,
            "stage": state.stage.value,
            "instruction": say(advice).instruction,
            "east_arcmin": None if offset is None else offset.east_rad * ARCMIN_PER_RAD,
            "up_arcmin": None if offset is None else offset.up_rad * ARCMIN_PER_RAD,
            "sigma_arcmin": None if offset is None else offset.sigma_rad * ARCMIN_PER_RAD,
        }
        print(json_text(facts), flush=True)

    def end(self, log: NightLog) -> None:
        """Whether everything came out again."""
        facts = {
            "lines": len(log.events),
            "problems": list(log.problems),
            "whole": log.whole,
            "results_checked": self._replay.numbers_checked,
            "differences": [{"line": d.seq, "what": d.what} for d in self._replay.differences],
        }
        print(json_text({"replay": facts}), flush=True)
