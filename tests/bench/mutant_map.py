"""Which test runs which line, and how long it takes: measured once, a test file at a time."""

from __future__ import annotations

import ast
import hashlib
import json
import re
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from mutant_copy import PROJECT, Warm
from mutant_sites import Fault

# Left out: what starts processes or windows for minutes, and what only looks at the repository.
LEFT_OUT = (
    "unit/test_contained_frames.py", "unit/test_credits.py", "unit/test_guide.py", "unit/test_doctor.py",
    "unit/test_start_up.py", "unit/test_second_looks.py", "unit/test_frame_*.py", "unit/test_security.py",
    "unit/test_detection_*.py", "unit/test_simulated_frames.py", "unit/test_star_*.py", "unit/test_folder_watcher.py",
    "unit/test_hot_pixel_mask.py", "unit/test_solver_outcomes.py", "property/test_detection_properties.py",
    "property/test_narrow_fields.py", "property/test_no_sky.py", "property/test_solver_symmetry.py",
    "golden/test_real_frames_solved.py",
)  # fmt: skip
MAPPED = (
    "unit/test_*.py", "property/test_*.py", "golden/test_*.py", "fuzz/test_damaged_records.py",
    "fuzz/test_damaged_stores.py", "screens/test_drawn_directions.py", "screens/test_list_pages.py",
    "screens/test_plan_page.py", "flows/test_injected_faults.py", "flows/test_night_by_drift.py",
    "flows/test_presented_nights_fit.py", "flows/test_rehearsals.py", "flows/test_drift_command.py",
    "flows/test_guiding_asked.py", "flows/test_bent_tubes.py", "flows/test_screw_between_frames.py",
    "flows/test_bad_frames_left_out.py", "flows/test_clock_steps.py", "flows/test_marker_follows.py",
)  # fmt: skip
SLOW_S = 20.0  # a test that takes longer is not asked
# to the last digit, and more telling than most
KEPT = tuple(
    f"tests/golden/test_{of}.py"
    for of in ("kept_numbers", "kept_sentences", "probed_nights", "recorded_nights", "shown_nights")
)
KEPT_SHARE = 0.6  # of the seconds for one fault, at most, is theirs; chosen


@dataclass
class Known:
    """Tests by line, their seconds, and the lines that run when the project is imported."""

    by_line: dict[str, dict[int, set[str]]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(set)))
    seconds: dict[str, float] = field(default_factory=dict)
    lines_run: dict[str, int] = field(default_factory=dict)
    imported: dict[str, list[int]] = field(default_factory=dict)

    def of(self, fault: Fault, at_most_s: float) -> list[str]:
        """The tests that run the faulty line or use the faulty constant, the most telling first.

        By turns one that runs little else and one that is quick, then the kept nights; of the cases of a test the
        others come last, since they mostly notice what the first one does.
        """
        lines = self.by_line[fault.file]
        found = set[str]().union(*(lines.get(line, ()) for line in range(fault.line, fault.last + 1)))
        if fault.constant:
            found |= self._using(fault.constant)
        found = {t for t in found if self.seconds[t] <= SLOW_S}
        nights = sorted((t for t in found if t.startswith(KEPT)), key=lambda t: (self.seconds[t], t))
        nights = self._within(nights, KEPT_SHARE * at_most_s)
        left = at_most_s - sum(self.seconds[t] for t in nights)
        others = self._within(_most_telling(found - set(nights), self.seconds, self.lines_run), left)
        few = len({t.split("[")[0] for t in others})
        return [*others[:few], *nights, *others[few:]]

    def _within(self, tests: list[str], at_most_s: float) -> list[str]:
        chosen, total = [], 0.0
        for test in tests:
            if total + self.seconds[test] <= at_most_s:
                total += self.seconds[test]
                chosen.append(test)
        return chosen

    def _using(self, name: str) -> set[str]:
        """The tests that run a line with that name in it, anywhere, or a function that has it as a default."""
        word, found = re.compile(rf"\b{re.escape(name)}\b"), set[str]()
        for file, lines in self.by_line.items():
            source = PROJECT / "app/polewright" / file
            if source.is_file():
                for number in _lines_with(word, source.read_text("utf-8")):
                    found |= lines.get(number, set())
        return found


def _lines_with(word: re.Pattern[str], source: str) -> set[int]:
    """The lines that hold the word; where it stands in the head of a function, which runs on import, its body."""
    found = {number for number, text in enumerate(source.splitlines(), 1) if word.search(text)}
    if found:
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.FunctionDef) and found & set(range(node.lineno, node.body[0].lineno)):
                found |= set(range(node.body[0].lineno, (node.end_lineno or node.lineno) + 1))
    return found


def _most_telling(tests: set[str], seconds: dict[str, float], lines_run: dict[str, int]) -> list[str]:
    quick = sorted(tests, key=lambda t: (seconds[t], t))
    narrow = sorted(tests, key=lambda t: (lines_run[t], t))
    by_turns = dict.fromkeys(test for pair in zip(narrow, quick) for test in pair)
    first = {test.split("[")[0]: test for test in reversed(by_turns)}
    return sorted(by_turns, key=lambda t: first[t.split("[")[0]] != t)


def test_files() -> list[str]:
    """The test files that are mapped, relative to the project."""
    tests = PROJECT / "tests"
    left = {path for pattern in LEFT_OUT for path in tests.glob(pattern)}
    found = {path for pattern in MAPPED for path in tests.glob(pattern)} - left
    return sorted(path.relative_to(PROJECT).as_posix() for path in found)


def map_tests(warm: Warm, work: Path, until: float, only: str) -> int:
    """Map the files that are not mapped as they are and whose name holds one of the words, until time is out."""
    (work / "map").mkdir(exist_ok=True)
    waiting = [f for f in warm.files if not _map_of(work, f).exists() and any(w in f for w in only.split(","))]
    for done, file in enumerate(waiting):
        if time.monotonic() > until:
            print(f"{len(waiting) - done} of {len(warm.files)} test files are not mapped yet: run this again.")
            return 1
        began = time.monotonic()
        end = warm.map_file(file, _map_of(work, file), max(60.0, until - began + 120.0))
        print(f"{file}: {end}, {time.monotonic() - began:.0f} s", flush=True)
    print("Every test file is mapped.")
    return 0


def tests_of(warm: Warm, work: Path) -> Known:
    """All maps together, of tests that stand and passed; of a test file that has changed the latest map there is."""
    known = Known(imported=warm.imported)
    for path in sorted((work / "map").glob("*.json"), key=lambda p: p.stat().st_mtime):
        for test, found in json.loads(path.read_text("utf-8")).items():
            if test in warm.tests and not found["failed"]:
                known.seconds[test] = found["seconds"]
                known.lines_run[test] = sum(map(len, found["lines"].values()))
                for file, lines in found["lines"].items():
                    for line in lines:
                        known.by_line[file][line].add(test)
    return known


def _map_of(work: Path, file: str) -> Path:
    mark = hashlib.sha1((PROJECT / file).read_bytes()).hexdigest()[:8]
    return work / "map" / f"{file.replace('/', '-')}-{mark}.json"
