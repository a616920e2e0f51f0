"""What starting costs: processor time and modules of each command's start, mean of ten, and the slowest imports.

    python tests/bench/start_up.py

Times are user + system time of child processes, so that a busy machine does not matter much; the floor is Python
itself, and Python with numpy. Byte code is kept, as an installed program has it, whatever the surroundings say:
without it every start compiles the program anew. Some systems count processor time in ticks of 10 ms, which is what
Python alone takes: one start may count as nothing, ten in a row never did.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from polewright.__main__ import main as polewright

STARTS = ("--help", "locate --help", "measure --help", "window --help", "tolerance --help")
COUNT = "import sys, atexit; atexit.register(lambda: print(len(sys.modules), file=sys.stderr));"
STARTS_TIMED = 10
RUN = COUNT + "from polewright.__main__ import main; main(sys.argv[1:])"


def cost_s(code: str, *arguments: str) -> tuple[float, int]:
    """(processor seconds, modules) of `python -c code arguments`, the mean of ten runs."""
    before = _children_s()
    for _ in range(STARTS_TIMED):
        done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False)
    return (_children_s() - before) / STARTS_TIMED, int(done.stderr.split()[-1])


def _children_s() -> float:
    spent = os.times()
    return spent.children_user + spent.children_system


def slowest_imports(*arguments: str) -> list[tuple[float, str]]:
    """(ms of its own, module), the ten slowest."""
    command = [sys.executable, "-X", "importtime", "-m", "polewright", *arguments]
    told = subprocess.run(command, capture_output=True, text=True, check=False).stderr
    found = re.findall(r"import time:\s+(\d+) \|\s+\d+ \|\s+(\S+)", told)
    return sorted(((int(us) / 1e3, name) for us, name in found), reverse=True)[:10]


def main() -> None:
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    floor, _ = cost_s(COUNT)
    print(f"{'python alone':24s} {1e3 * floor:6.0f} ms")
    numpy, _ = cost_s(COUNT + "import numpy")
    print(f"{'python and numpy':24s} {1e3 * numpy:6.0f} ms  {numpy / floor:5.1f} x")
    with tempfile.TemporaryDirectory() as folder:
        with contextlib.redirect_stdout(io.StringIO()):
            polewright(["simulate", folder, "--frames", "1", "--json"])
        frame = str(next(Path(folder).glob("*.fits")))
        for start in [*(s.split() for s in STARTS), ["locate", frame]]:
            spent, modules = cost_s(RUN, *start)
            name = " ".join(start).replace(frame, "FRAME")
            print(f"{name:24s} {1e3 * spent:6.0f} ms  {spent / floor:5.1f} x  {modules} modules")
        print("slowest imports of locate FRAME, ms of their own (wall time)")
        print("  " + ", ".join(f"{name} {ms:.0f}" for ms, name in slowest_imports("locate", frame)))


if __name__ == "__main__":
    main()
