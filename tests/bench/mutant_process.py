"""The process behind tests/bench/mutant_copy.py: loads the libraries, then forks for every order it reads.

An order is a line of JSON; the answer is a line too. In the child pytest runs the tests and its end is the answer.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import erfa  # noqa: F401 (loaded once, for all children)
import numpy  # noqa: F401
import pytest
from PySide6 import QtSvg, QtWidgets  # noqa: F401

QUIET = ["-x", "-q", "--no-header", "-p", "no:randomly", "-p", "no:xdist"]


def main() -> None:
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            _child(order)
        print(json.dumps(_end_of(child, float(order["timeout_s"]))), flush=True)


def _child(order: dict[str, Any]) -> None:
    os.setpgid(0, 0)
    said = os.open("said.txt", os.O_RDWR | os.O_CREAT | os.O_TRUNC)  # of the latest run, for whoever wonders
    for stream in (0, 1, 2):
        os.dup2(said, stream)
    code = _map(order["tests"], Path(order["map"])) if "map" in order else _run(order["tests"])
    os._exit(code)


def _run(tests: list[str]) -> int:
    return int(pytest.main([*QUIET, *tests]))


def _map(tests: list[str], into: Path) -> int:
    """With coverage switched to each test's own context."""
    import coverage

    app = str(Path.cwd() / "app")
    measure = coverage.Coverage(data_file=None, source=[app], config_file=False)
    seconds: dict[str, float] = {}

    class Contexts:
        @pytest.hookimpl(hookwrapper=True)
        def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
            measure.switch_context(item.nodeid)
            began = time.monotonic()
            yield
            seconds[item.nodeid] = time.monotonic() - began

    measure.start()
    code = int(pytest.main(["-q", "--no-header", "-p", "no:xdist", "-m", "not slow", *tests], plugins=[Contexts()]))
    measure.stop()
    names = list(seconds)
    index = {name: i for i, name in enumerate(names)}
    data, lines = measure.get_data(), dict[str, dict[str, list[int]]]()
    for file in data.measured_files():
        found = {
            str(line): [index[c] for c in contexts if c in index]
            for line, contexts in data.contexts_by_lineno(file).items()
        }
        name = Path(file).relative_to(Path(app) / "polewright").as_posix()
        lines[name] = {line: tests for line, tests in found.items() if tests}
    into.write_text(json.dumps({"tests": names, "seconds": seconds, "lines": lines}), encoding="utf-8")
    return code


def _end_of(child: int, timeout_s: float) -> str:
    """How the child ended; one that hangs is ended with all that it started."""
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return {0: "survived", 5: "no test", 4: "not collected"}.get(code, "noticed")
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "hangs"


if __name__ == "__main__":
    main()
