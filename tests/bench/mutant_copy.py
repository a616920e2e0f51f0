"""A copy of the project to make faults in, and processes that run tests in it: the tree itself is never touched."""

from __future__ import annotations

import filecmp
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any

from mutant_sites import Fault

NOT_COLLECTED = "not collected"
PROJECT = Path(__file__).resolve().parents[2]


def project_copy(work: Path) -> Path:
    """Code and tests are copied, resources and what else lies at the top are linked; what is the same stays."""
    copy = work / "project"
    copy.mkdir(exist_ok=True)
    for name in ("app", "tests"):
        _made_equal(PROJECT / name, copy / name)
    for one in PROJECT.iterdir():
        if not one.name.startswith(".") and one.name not in ("app", "tests") and not (copy / one.name).is_symlink():
            (copy / one.name).symlink_to(one)
    compile_all = [sys.executable, "-m", "compileall", "-q", "app", "tests"]
    subprocess.run(compile_all, cwd=copy, check=True)
    return copy


def _made_equal(source: Path, target: Path) -> None:
    """By content: a run that was killed leaves its fault behind."""
    wanted = {path.relative_to(source) for path in source.rglob("*") if path.is_file() and path.suffix != ".pyc"}
    for path in [path for path in target.rglob("*") if path.is_file() and path.suffix != ".pyc"]:
        if path.relative_to(target) not in wanted:
            path.unlink()
    for name in wanted:
        if not (target / name).is_file() or not filecmp.cmp(source / name, target / name, shallow=False):
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source / name, target / name)
            os.utime(target / name)  # else the compiled fault would pass for the file


def environment(copy: Path, work: Path) -> dict[str, str]:
    """Python finds the copy before the project that is installed; all runs share one home with the sky's index.

    Temporary files have a place of their own: a fault may sweep away what it should not.
    """
    (work / "tmp").mkdir(exist_ok=True)
    own = {
        "PYTHONPATH": f"{copy / 'app'}{os.pathsep}{copy / 'tests'}{os.pathsep}{PROJECT / 'tests/bench'}",
        "PYTHONDONTWRITEBYTECODE": "1",
        "QT_QPA_PLATFORM": "offscreen",
        "OPENBLAS_NUM_THREADS": "1",
        "POLEWRIGHT_TESTS_HOME": str(work / "home"),
        "TMPDIR": str(work / "tmp"),
    }
    return {**os.environ, **own}


class Process:
    """One that answers orders; `mode` and what else is on its command line: see mutant_process.py."""

    def __init__(self, copy: Path, work: Path, mode: str, *more: str) -> None:
        self._copy = copy
        self._process = subprocess.Popen(
            [sys.executable, str(PROJECT / "tests/bench/mutant_process.py"), mode, *more],
            cwd=copy,
            env=environment(copy, work),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=(work / f"{mode}.txt").open("w"),
            text=True,
        )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(20.0)

    def ask(self, **order: object) -> str:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        answer = str(self.heard())
        if answer in ("broken", "no test"):
            raise RuntimeError(f"{answer}: see {self._copy / 'said.txt'}")
        return answer

    def heard(self) -> Any:
        assert self._process.stdout is not None
        answer = self._process.stdout.readline()
        if not answer:
            raise RuntimeError("the process that runs the tests has ended")
        return json.loads(answer)


class Cold(Process):
    """Every run imports the project anew: for faults in what is decided when it is imported."""

    def __init__(self, copy: Path, work: Path) -> None:
        super().__init__(copy, work, "cold")

    def __enter__(self) -> Cold:
        """Without a fault nothing may be noticed: else every number that follows would be a lie."""
        if (end := self.ask(tests=["tests/unit/test_dial.py"], timeout_s=120.0)) != "survived":
            raise RuntimeError(f"tests fail without any fault ({end}): see {self._copy / 'said.txt'}")
        return self

    def with_fault(
        self, name: str, source: str, tests: Sequence[str], timeout_s: float, whole: Sequence[str] = ()
    ) -> str:
        """How it ended, noticed, hangs, or survived, with a file of the copy changed for so long.

        `whole`: the tests without their cases, for a fault with which the cases are not found. Tests that cannot even
        be collected have noticed it."""
        file = self._copy / "app/polewright" / name
        before, times = file.read_bytes(), file.stat()
        compiled = {pyc: pyc.read_bytes() for pyc in file.parent.glob(f"__pycache__/{file.stem}.*.pyc")}
        for pyc in compiled:
            pyc.unlink()
        file.write_text(source, encoding="utf-8")
        try:
            end = self.ask(tests=tests, timeout_s=timeout_s)
            if end == NOT_COLLECTED and whole:
                end = self.ask(tests=whole, timeout_s=timeout_s)
            return "noticed" if end == NOT_COLLECTED else end
        finally:
            file.write_bytes(before)
            os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
            for pyc, content in compiled.items():
                pyc.write_bytes(content)


class Warm(Process):
    """Has imported the project and collected the tests of `files`: a run costs the tests alone."""

    def __init__(self, copy: Path, work: Path, files: Sequence[str]) -> None:
        super().__init__(copy, work, "warm", *files)
        told = self.heard()
        self.tests: frozenset[str] = frozenset(told["tests"])
        self.files = sorted({test.split("::")[0] for test in self.tests})
        self.imported: dict[str, list[int]] = told["imported"]

    def __enter__(self) -> Warm:
        return self

    def with_fault(self, fault: Fault, tests: Sequence[str], timeout_s: float) -> str:
        """How it ended, as above, or "not here": the fault can only be made cold."""
        return self.ask(fault=asdict(fault), tests=tests, timeout_s=timeout_s)

    def map_file(self, file: str, into: Path, timeout_s: float) -> str:
        """Write which test of the file runs which line, and how long each takes."""
        return self.ask(map=file, into=str(into), timeout_s=timeout_s)
