"""A copy of the project to make faults in, and a process that runs tests in it: the tree itself is never touched.

The process loads the libraries once and forks for every run, so that a run costs its tests and little else.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import TracebackType

PROJECT = Path(__file__).resolve().parents[2]
LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.pyc")


def project_copy(work: Path) -> Path:
    """Code and tests are copied, resources and what else lies at the top are linked. A copy of before goes."""
    copy = work / "project"
    shutil.rmtree(copy, ignore_errors=True)
    copy.mkdir()
    for name in ("app", "tests"):
        shutil.copytree(PROJECT / name, copy / name, ignore=LEFT_OUT)
    for one in PROJECT.iterdir():
        if one.name not in ("app", "tests", ".venv", ".git"):
            (copy / one.name).symlink_to(one)
    return copy


def environment(copy: Path, work: Path) -> dict[str, str]:
    """Python finds the copy before the project that is installed; all runs share one home with the sky's index."""
    own = {
        "PYTHONPATH": f"{copy / 'app'}{os.pathsep}{copy / 'tests'}{os.pathsep}{PROJECT / 'tests/bench'}",
        "PYTHONDONTWRITEBYTECODE": "1",
        "QT_QPA_PLATFORM": "offscreen",
        "OPENBLAS_NUM_THREADS": "1",
        "POLEWRIGHT_TESTS_HOME": str(work / "home"),
    }
    return {**os.environ, **own}


class Runner:
    """Runs tests in the copy: `with_fault` with a file of the copy changed for so long."""

    def __init__(self, copy: Path, work: Path) -> None:
        self._copy = copy
        compile_all = [sys.executable, "-m", "compileall", "-q", "app", "tests"]
        subprocess.run(compile_all, cwd=copy, check=True)
        self._process = subprocess.Popen(
            [sys.executable, str(PROJECT / "tests/bench/mutant_process.py")],
            cwd=copy,
            env=environment(copy, work),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )

    def __enter__(self) -> Runner:
        """Without a fault nothing may be noticed: else every number that follows would be a lie."""
        end = self._ask({"tests": ["tests/unit/test_dial.py"], "timeout_s": 120.0})
        if end != "survived":
            raise RuntimeError(f"tests fail without any fault ({end}): see {self._copy / 'said.txt'}")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(10.0)

    def with_fault(self, name: str, source: str, tests: list[str], timeout_s: float) -> str:
        """How it ended: noticed, hangs, or survived; where no test runs the line nothing is noticed."""
        if not tests:
            return "survived"
        file = self._copy / name
        before = file.read_bytes()
        compiled = [*file.parent.glob(f"__pycache__/{file.stem}.*.pyc")]
        kept = [pyc.read_bytes() for pyc in compiled]
        times = file.stat()
        for pyc in compiled:
            pyc.unlink()
        file.write_text(source, encoding="utf-8")
        try:
            return self._ask({"tests": tests, "timeout_s": timeout_s})
        finally:
            file.write_bytes(before)
            os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
            for pyc, content in zip(compiled, kept):
                pyc.write_bytes(content)

    def map_file(self, test_file: str, into: Path, timeout_s: float) -> str:
        """Run a test file under coverage and write which test ran which line."""
        return self._ask({"tests": [test_file], "timeout_s": timeout_s, "map": str(into)})

    def _ask(self, order: dict[str, object]) -> str:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        if not answer:
            raise RuntimeError("the process that runs the tests has ended")
        return str(json.loads(answer))
