"""Mutation testing: small faults made one at a time in a copy of the project; the tests have to notice them.

    python tests/bench/mutants.py map --work FOLDER [--minutes 7]     # which test runs which line; goes on each time
    python tests/bench/mutants.py run --work FOLDER [--seed 1] [--count 50] [--modules axis screws] [--only TEXT]
                                      [--survivors] [--turned] [--seconds 20]
    python tests/bench/mutants.py directions --work FOLDER            # each fault of tests/bench/direction_mutants.py
    python tests/bench/mutants.py table --work FOLDER                 # what all runs so far have found

A fault turns a sign, a comparison or a condition round, moves a threshold by half, changes a whole number by one,
swaps east and up, azimuth and altitude, clockwise and anticlockwise, sine and cosine, `and` and `or`, or drops a
statement. For each fault the tests that run its line are run, the most telling first, until one fails; a fault that
makes them hang is noticed too. Faults come in an order that the seed gives; `run` takes the next ones that no run
before has taken, or with --survivors the ones that survived. Survivors that change nothing are named with their
reason in EQUIVALENT (tests/bench/mutant_equivalents.py). Needs Python 3.12 or newer.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import time
from collections import Counter
from pathlib import Path
from typing import Any

from direction_mutants import ROWS, TESTS
from mutant_copy import PROJECT, Cold, Warm, project_copy
from mutant_equivalents import EQUIVALENT
from mutant_map import map_tests, test_files, tests_of
from mutant_sites import Fault, faults_of, mutated

GROUPS: dict[str, tuple[str, ...]] = {
    "axis": ("core/axis/*.py",),
    "screws": ("core/screws/*.py",),
    "night": ("core/night/**/*.py",),
    "drift": ("core/drift/*.py",),
    "plan": ("core/plan/*.py",),
    "vigil": ("core/vigil/*.py",),
    "sky": ("core/sky/*.py",),
    "stores": (
        "services/atomic_file.py", "services/file_lock.py", "services/folder_poller.py", "services/night_log.py",
        "services/log_format.py", "services/log_migration.py", "services/profile_store.py", "services/profiles.py",
        "services/recorder.py", "services/regular_file.py", "services/night_folders.py", "runtime/retrace.py",
        "runtime/checkpoint.py",
    ),
    "presenting": ("ui/presenting/*.py",),
    "words": ("words/*.py",),
}  # fmt: skip
AT_MOST_S = 20.0  # of tests for one fault, by how long they took without it; chosen
HANGS_AFTER = 4.0  # times as long as the tests should take, and half a minute


def main() -> int:
    args = _asked()
    args.work = args.work.resolve()
    args.work.mkdir(parents=True, exist_ok=True)
    if args.what == "table":
        return _table(_found(args.work))
    copy = project_copy(args.work)
    with Cold(copy, args.work) as cold:
        if args.what == "directions":
            return _directions(cold, time.monotonic() + 60.0 * args.minutes)
        with Warm(copy, args.work, test_files()) as warm:
            until = time.monotonic() + 60.0 * args.minutes
            if args.what == "map":
                return map_tests(warm, args.work, until, args.only)
            return _run(Bench(args.work, cold, warm), args, until)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("map", "run", "directions", "table"))
    parser.add_argument("--work", type=Path, required=True, help="folder for the copy, the map and what was found")
    parser.add_argument("--minutes", type=float, default=7.0, help="begin nothing new after so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=AT_MOST_S, help="of tests for one fault, at most")
    parser.add_argument("--modules", nargs="*", default=list(GROUPS), choices=list(GROUPS))
    parser.add_argument("--survivors", action="store_true", help="the ones that survived so far, once more")
    parser.add_argument("--turned", action="store_true", help="only faults that turn a sign, a side or a screw round")
    parser.add_argument(
        "--only",
        default="",
        help="faults whose file or text holds this, taken before or not; map: test files named so (words, commas)",
    )
    return parser.parse_args()


def _run(bench: Bench, args: argparse.Namespace, until: float) -> int:
    done, waiting = 0, _waiting(args)
    for fault in waiting[: args.count]:
        if time.monotonic() > until:
            break
        end, tests, seconds = bench.end_of(fault, args.seconds)
        where = {"file": fault.file, "line": fault.line, "text": fault.text}
        row = {"id": _name(fault), **where, "end": end, "tests": tests, "seconds": round(seconds, 2)}
        with (args.work / "found.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(row, ensure_ascii=False) + "\n")
        if end in ("survived", "not met"):
            print(f"{end.upper()} {fault.file}:{fault.line}: {fault.text} ({tests} tests)", flush=True)
        done += 1
    print(f"{done} faults made, {len(waiting) - done} of these wait.")
    return _table(_found(args.work))


def _waiting(args: argparse.Namespace) -> list[Fault]:
    """What was asked for, in the order of the seed: by name, or survivors, or what no run has taken."""
    ends = {row["id"]: row["end"] for row in _found(args.work)}
    faults = _faults(args.modules)
    if args.turned:
        faults = [f for f in faults if f.turns]
    if args.survivors:
        faults = [f for f in faults if ends.get(_name(f)) in ("survived", "not met")]
    elif not args.only:
        faults = [f for f in faults if _name(f) not in ends]
    faults = [f for f in faults if args.only in f"{f.file}:{f.line} {f.text}"]
    random.Random(args.seed).shuffle(faults)
    return faults


class Bench:
    """Makes a fault where it can be made most cheaply, and runs the tests that meet it."""

    def __init__(self, work: Path, cold: Cold, warm: Warm) -> None:
        self._cold, self._warm, self._known = cold, warm, tests_of(warm, work)

    def end_of(self, fault: Fault, at_most_s: float) -> tuple[str, int, float]:
        """How it ended, after how many tests at most, and in how many seconds."""
        tests, began = self._known.of(fault, at_most_s), time.monotonic()
        end = self._made(fault, tests) if tests else "not met"
        return end, len(tests), time.monotonic() - began

    def _made(self, fault: Fault, tests: list[str]) -> str:
        timeout_s = 30.0 + HANGS_AFTER * sum(self._known.seconds[t] for t in tests)
        end = "not here"
        if fault.inside and not self._decides_on_import(fault):
            end = self._warm.with_fault(fault, tests, timeout_s)
        if end != "not here":
            return end
        source = mutated((PROJECT / "app/polewright" / fault.file).read_text(encoding="utf-8"), fault)
        whole = list(dict.fromkeys(test.split("[")[0] for test in tests))  # a fault may rename the cases of a test
        return self._cold.with_fault(fault.file, source, tests, timeout_s, whole)

    def _decides_on_import(self, fault: Fault) -> bool:
        run = self._known.imported.get(fault.file, [])
        return any(fault.line <= line <= fault.last for line in run)


def _directions(cold: Cold, until: float) -> int:
    survived = 0
    for name, stands, fault in ROWS:
        if time.monotonic() > until:
            print("Out of time.")
            return 1
        text = (PROJECT / "app/polewright" / name).read_text(encoding="utf-8")
        if stands not in text:
            print(f"NOT FOUND in {name}: {stands}")
            survived += 1
        elif cold.with_fault(name, text.replace(stands, fault, 1), TESTS, 120.0) == "survived":
            print(f"SURVIVED {name}: {fault}", flush=True)
            survived += 1
    print(f"{len(ROWS) - survived} of {len(ROWS)} reversed directions were noticed.")
    return 1 if survived else 0


def _faults(groups: list[str]) -> list[Fault]:
    """Every fault of the groups, in a settled order."""
    found = []
    for group in groups:
        for file in _files(group):
            found += faults_of(file, (PROJECT / "app/polewright" / file).read_text("utf-8"))
    return found


def _files(group: str) -> list[str]:
    """Of a group, below the application."""
    app = PROJECT / "app/polewright"
    return [p.relative_to(app).as_posix() for pattern in GROUPS[group] for p in sorted(app.glob(pattern))]


def _name(fault: Fault) -> str:
    """A fault keeps its name while its line stands as it does, wherever in the file."""
    return hashlib.sha1(f"{fault.file}|{fault.context}|{fault.text}".encode()).hexdigest()[:16]


def _found(work: Path) -> list[dict[str, Any]]:
    """The latest end of every fault taken so far."""
    path = work / "found.jsonl"
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []
    return list({row["id"]: row for row in rows}.values())


def _table(rows: list[dict[str, Any]]) -> int:
    """Noticed and made, module by module; survivors that are equivalent count as nothing."""
    counts: dict[str, Counter[str]] = {}
    group_of = {file: group for group in GROUPS for file in _files(group)}
    for row in rows:
        group = group_of.get(row["file"], "gone")
        same = (row["file"], row["text"]) in EQUIVALENT and row["end"] == "survived"
        counts.setdefault(group, Counter())["equivalent" if same else row["end"]] += 1
    total: Counter[str] = sum(counts.values(), Counter())
    for group, ends in [*counts.items(), ("all", total)]:
        made = sum(ends.values()) - ends["equivalent"]
        noticed = made - ends["survived"] - ends["not met"]
        print(f"{group:12} {noticed:4} of {made:4} noticed ({100.0 * noticed / max(made, 1):.0f} %), {dict(ends)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
