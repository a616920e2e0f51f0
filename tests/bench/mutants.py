"""Mutation testing: small faults made one at a time in a copy of the project; the tests have to notice them.

    python tests/bench/mutants.py map --work FOLDER [--minutes 7]     # which test runs which line; goes on each time
    python tests/bench/mutants.py run --work FOLDER [--seed 1] [--count 50] [--modules axis screws] [--only TEXT]
    python tests/bench/mutants.py directions --work FOLDER            # each fault of tests/bench/direction_mutants.py
    python tests/bench/mutants.py table --work FOLDER                 # what all runs so far have found

A fault turns a sign, a comparison or a condition round, moves a threshold by half, changes a whole number by one,
swaps east and up, azimuth and altitude, clockwise and anticlockwise, sine and cosine, `and` and `or`, or drops a
statement. For each fault the tests that run its line are run, the quickest first, until one fails; a fault that makes
them hang is noticed too. Faults come in an order that the seed gives; `run` takes the next ones that no run before
has taken. Survivors that change nothing are named with their reason in EQUIVALENT (tests/bench/mutant_sites.py).
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
from mutant_copy import PROJECT, Runner, project_copy
from mutant_map import map_tests, tests_of
from mutant_sites import EQUIVALENT, Fault, faults_of, mutated

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
}  # fmt: skip
AT_FIRST = 20  # tests
AT_MOST_S = 20.0  # of tests for one fault, by how long they took without it
HANGS_AFTER = 4.0  # times as long as the tests should take, and half a minute


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("map", "run", "directions", "table"))
    parser.add_argument("--work", type=Path, required=True, help="folder for the copy, the map and what was found")
    parser.add_argument("--minutes", type=float, default=7.0, help="begin nothing new after so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--modules", nargs="*", default=list(GROUPS), choices=list(GROUPS))
    parser.add_argument(
        "--only",
        default="",
        help="faults whose file or text holds this, taken before or not; map: test files named so (words, commas)",
    )
    args = parser.parse_args()
    args.work.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + 60.0 * args.minutes
    if args.what == "table":
        return _table(_found(args.work))
    copy = project_copy(args.work)
    with Runner(copy, args.work) as runner:
        if args.what == "map":
            return map_tests(runner, args.work, until, args.only)
        if args.what == "directions":
            return _directions(runner, until)
        return _run(runner, args, until)


def _run(runner: Runner, args: argparse.Namespace, until: float) -> int:
    taken = {row["id"] for row in _found(args.work)}
    known = tests_of(args.work)
    waiting = [f for f in _faults(args.modules) if args.only or _name(f) not in taken]
    if args.only:
        waiting = [f for f in waiting if args.only in f"{f.file} {f.text}"]
    random.Random(args.seed).shuffle(waiting)
    done = 0
    for fault in waiting:
        if done >= args.count or time.monotonic() > until:
            break
        tests = known.of(fault, AT_MOST_S)
        seconds = sum(known.seconds[t] for t in tests)
        source = mutated((PROJECT / "app/polewright" / fault.file).read_text(encoding="utf-8"), fault)
        end = "survived"
        for some in (tests[:AT_FIRST], tests[AT_FIRST:]):  # most fall at once
            if end == "survived":
                end = runner.with_fault(f"app/polewright/{fault.file}", source, some, 30.0 + HANGS_AFTER * seconds)
        row = {"id": _name(fault), "file": fault.file, "line": fault.line, "text": fault.text, "end": end}
        with (args.work / "found.jsonl").open("a", encoding="utf-8") as file:
            file.write(json.dumps(row, ensure_ascii=False) + "\n")
        if end == "survived":
            print(f"SURVIVED {fault.file}:{fault.line}: {fault.text} ({len(tests)} tests)", flush=True)
        done += 1
    print(f"{done} faults made, {len(waiting) - done} of these modules wait.")
    return _table(_found(args.work))


def _directions(runner: Runner, until: float) -> int:
    survived = 0
    for name, stands, fault in ROWS:
        if time.monotonic() > until:
            print("Out of time.")
            return 1
        text = (PROJECT / "app/polewright" / name).read_text(encoding="utf-8")
        if stands not in text:
            print(f"NOT FOUND in {name}: {stands}")
            survived += 1
            continue
        end = runner.with_fault(f"app/polewright/{name}", text.replace(stands, fault, 1), list(TESTS), 120.0)
        if end == "survived":
            print(f"SURVIVED {name}: {fault}", flush=True)
            survived += 1
    print(f"{len(ROWS) - survived} of {len(ROWS)} reversed directions were noticed.")
    return 1 if survived else 0


def _faults(groups: list[str]) -> list[Fault]:
    """Every fault of the groups, in a settled order."""
    found = []
    for group in groups:
        for pattern in GROUPS[group]:
            for path in sorted((PROJECT / "app/polewright").glob(pattern)):
                found += faults_of(path.relative_to(PROJECT / "app/polewright").as_posix(), path.read_text("utf-8"))
    return found


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
    for row in rows:
        group = next(g for g, patterns in GROUPS.items() if any(Path(row["file"]).match(p) for p in patterns))
        same = (row["file"], row["text"]) in EQUIVALENT and row["end"] == "survived"
        counts.setdefault(group, Counter())["equivalent" if same else row["end"]] += 1
    total: Counter[str] = sum(counts.values(), Counter())
    for group, ends in [*counts.items(), ("all", total)]:
        made = sum(ends.values()) - ends["equivalent"]
        noticed = made - ends["survived"]
        print(f"{group:12} {noticed:4} of {made:4} noticed ({100.0 * noticed / max(made, 1):.0f} %), {dict(ends)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
