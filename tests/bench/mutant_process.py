"""The process behind tests/bench/mutant_copy.py: it forks for every order it reads; a run costs its tests only.

`cold`: the libraries are loaded; the child imports the project, with whatever fault stands in its files. `warm`: the
project and all tests are loaded and collected too; the child puts faulty code into the functions it has inherited.
Orders and answers are lines of JSON. In the warm process the collection is pytest's own, and the orders take the
place of its loop over the tests.
"""

from __future__ import annotations

import ast
import gc
import json
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import erfa  # noqa: F401 (loaded once, for all children)
import numpy  # noqa: F401
import pytest
from mutant_lines import Lines
from mutant_sites import Fault, changed
from PySide6 import QtSvg, QtWidgets  # noqa: F401

QUIET = ["-x", "-q", "--no-header", "-p", "no:randomly", "-p", "no:xdist", "-m", "not slow"]
APP = Path.cwd() / "app/polewright"
AT_MOST_BYTES = 8 << 30  # a fault that asks for more is noticed by that; the suite itself needs less than 2 GiB
BROKEN = 78  # this program is, not the one with the fault
NOT_HERE = 77  # the faulty function takes other variables of its surroundings: only a cold child can have it

ENDS = {0: "survived", 5: "no test", 4: "not collected", NOT_HERE: "not here", BROKEN: "broken"}


def main() -> None:
    if sys.argv[1] == "cold":
        _serve(lambda order: int(pytest.main([*QUIET, *order["tests"]])))
    else:
        pytest.main([*QUIET, "-s", *sys.argv[2:]], plugins=[Warm()])


class Warm:
    """Answers orders where pytest would run the tests it has collected; knows the lines that the imports have run."""

    def __init__(self) -> None:
        self._lines = Lines(APP)
        self._said = os.dup(1)
        os.dup2(2, 1)  # what pytest says while it collects is no answer

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        imported = self._lines.taken()
        os.dup2(self._said, 1)
        items = {item.nodeid: item for item in session.items}
        print(json.dumps({"imported": imported, "tests": list(items)}), flush=True)
        _serve(lambda order: self._map(items, order) if "map" in order else _warm(items, order))
        return True

    def _map(self, items: dict[str, pytest.Item], order: dict[str, Any]) -> int:
        """Run the tests of a file, and write which lines each runs and how long it takes."""
        found: dict[str, Any] = {}
        mine = [item for name, item in items.items() if name.split("::")[0] == order["map"]]
        for item, following in zip(mine, [*mine[1:], None]):
            self._lines.taken()
            began = time.monotonic()
            failed = _fails(item, following)
            found[item.nodeid] = {"seconds": time.monotonic() - began, "failed": failed, "lines": self._lines.taken()}
        Path(order["into"]).write_text(json.dumps(found), encoding="utf-8")
        return 0


def _warm(items: dict[str, pytest.Item], order: dict[str, Any]) -> int:
    if not put_in(Fault(**order["fault"])):
        return NOT_HERE
    mine = [items[name] for name in order["tests"]]
    return int(any(_fails(item, following) for item, following in zip(mine, [*mine[1:], None])))


def _fails(item: pytest.Item, following: pytest.Item | None) -> bool:
    from _pytest.runner import runtestprotocol

    return any(report.failed for report in runtestprotocol(item, log=False, nextitem=following))


def put_in(fault: Fault) -> bool:
    """Give the fault's functions their faulty code, wherever they are held; False where that cannot be."""
    path = APP / fault.file
    source = path.read_text(encoding="utf-8")
    before, after = (_codes(tree, path) for tree in (ast.parse(source), changed(source, fault)))
    new = {name: code for name, code in after.items() if code != before.get(name)}
    try:
        for held in _functions(str(path)):
            if (code := new.get((held.__code__.co_qualname, held.__code__.co_firstlineno))) is not None:
                held.__code__ = code
    except ValueError:
        return False
    return True


def _codes(tree: ast.Module, path: Path) -> dict[tuple[str, int], CodeType]:
    return {
        (c.co_qualname, c.co_firstlineno): c for c in _inside(compile(tree, str(path), "exec", dont_inherit=True))
    }


def _inside(code: CodeType) -> Iterator[CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield constant
            yield from _inside(constant)


def _functions(path: str) -> list[FunctionType]:
    return [f for f in gc.get_objects() if isinstance(f, FunctionType) and f.__code__.co_filename == path]


def _serve(run: Callable[[dict[str, Any]], int]) -> None:
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            _child(run, order)
        print(json.dumps(_end_of(child, float(order["timeout_s"]))), flush=True)


def _child(run: Callable[[dict[str, Any]], int], order: dict[str, Any]) -> None:
    code = BROKEN
    try:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_AS, (AT_MOST_BYTES, AT_MOST_BYTES))
        said = os.open("said.txt", os.O_RDWR | os.O_CREAT | os.O_TRUNC)  # of the latest run, for whoever wonders
        for stream in (0, 1, 2):
            os.dup2(said, stream)
        code = run(order)
    except (KeyboardInterrupt, SystemExit, pytest.exit.Exception):
        code = 1
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _end_of(child: int, timeout_s: float) -> str:
    """How the child ended; one that hangs is ended with all that it started."""
    until = time.monotonic() + timeout_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return ENDS.get(code, "noticed")
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "hangs"


if __name__ == "__main__":
    main()
