"""Which test runs which line, and how long it takes: measured once with coverage contexts, a test file at a time."""

from __future__ import annotations

import hashlib
import json
import re
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from mutant_copy import PROJECT, Runner
from mutant_sites import Fault

# Left out: what starts processes or windows for minutes, and what only looks at the repository.
LEFT_OUT = (
    "unit/test_contained_frames.py", "unit/test_credits.py", "unit/test_guide.py", "unit/test_doctor.py",
    "unit/test_start_up.py", "unit/test_hostile_folders.py", "unit/test_second_looks.py", "unit/test_frame_*.py",
    "unit/test_detection_*.py", "unit/test_simulated_frames.py", "unit/test_star_*.py", "unit/test_folder_watcher.py",
    "unit/test_hot_pixel_mask.py", "unit/test_solver_outcomes.py", "property/test_detection_properties.py",
    "property/test_narrow_fields.py", "property/test_no_sky.py", "property/test_solver_symmetry.py",
    "golden/test_real_frames_solved.py",
)  # fmt: skip
MAPPED = ("unit/test_*.py", "property/test_*.py", "golden/test_*.py", "screens/test_drawn_directions.py")
SLOW_S = 20.0  # a test that takes longer is not asked


@dataclass
class Known:
    """Tests by line, and their seconds (measured under coverage: about twice as long as without)."""

    by_line: dict[str, dict[int, set[str]]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(set)))
    seconds: dict[str, float] = field(default_factory=dict)

    def of(self, fault: Fault, at_most_s: float) -> list[str]:
        """The tests that run the faulty line or use the faulty constant, the quickest first."""
        found = set(self.by_line[fault.file].get(fault.line, ()))
        if fault.constant:
            found |= self._using(fault.constant)
        chosen, total = [], 0.0
        for test in sorted(found, key=lambda t: (self.seconds[t], t)):
            total += self.seconds[test]
            if total > at_most_s or self.seconds[test] > SLOW_S:
                break
            chosen.append(test)
        return chosen

    def _using(self, name: str) -> set[str]:
        """The tests that run a line with that name in it, anywhere."""
        word, found = re.compile(rf"\b{re.escape(name)}\b"), set[str]()
        for file, lines in self.by_line.items():
            source = PROJECT / "app/polewright" / file
            if source.is_file():
                for number, text in enumerate(source.read_text("utf-8").splitlines(), 1):
                    if word.search(text):
                        found |= lines.get(number, set())
        return found


def test_files() -> list[Path]:
    """The test files that are mapped, relative to the project."""
    tests = PROJECT / "tests"
    left = {path for pattern in LEFT_OUT for path in tests.glob(pattern)}
    return sorted({p.relative_to(PROJECT) for pattern in MAPPED for p in tests.glob(pattern) if p not in left})


def map_tests(runner: Runner, work: Path, until: float, only: str) -> int:
    """Map the files that are not mapped as they are and whose name holds one of the words, until time is out."""
    (work / "map").mkdir(exist_ok=True)
    waiting = [f for f in test_files() if not _map_of(work, f).exists() and any(w in f.name for w in only.split(","))]
    for done, file in enumerate(waiting):
        if time.monotonic() > until:
            print(f"{len(waiting) - done} of {len(test_files())} test files are not mapped yet: run this again.")
            return 1
        began = time.monotonic()
        end = runner.map_file(str(file), _map_of(work, file), max(60.0, until - began + 120.0))
        print(f"{file}: {end}, {time.monotonic() - began:.0f} s", flush=True)
    print("Every test file is mapped.")
    return 0


def tests_of(work: Path) -> Known:
    """All maps together; maps of test files that have changed since are used while there is no other."""
    known = Known()
    for path in sorted((work / "map").glob("*.json")):
        data = json.loads(path.read_text("utf-8"))
        known.seconds.update(data["seconds"])
        for file, lines in data["lines"].items():
            for line, tests in lines.items():
                known.by_line[file][int(line)].update(data["tests"][i] for i in tests)
    return known


def _map_of(work: Path, file: Path) -> Path:
    mark = hashlib.sha1((PROJECT / file).read_bytes()).hexdigest()[:8]
    return work / "map" / f"{file.parent.name}-{file.stem}-{mark}.json"
