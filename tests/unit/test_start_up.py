"""What a start loads: nothing heavy that the command does not need. Times are measured by tests/bench/start_up.py."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from polewright.services.one_thread import ONE_THREAD
from polewright.simulate.fits_file import fits_bytes

HEAVY = {"PySide6", "astropy", "scipy", "PIL", "tifffile", "rawpy", "watchdog", "sep", "matplotlib"}
LIST = "import sys, atexit; atexit.register(lambda: print('loaded', *sorted(sys.modules), file=sys.stderr));"
RUN = LIST + "from polewright.__main__ import main; main(sys.argv[1:])"


def loaded(*arguments: str) -> set[str]:
    """Top-level modules that a start has loaded by its end."""
    done = subprocess.run([sys.executable, "-c", RUN, *arguments], capture_output=True, text=True, env=os.environ)
    line = next(line for line in done.stderr.splitlines() if line.startswith("loaded "))
    return {name.partition(".")[0] for name in line.split()[1:]}


def test_help_loads_neither_numpy_nor_anything_heavy() -> None:
    assert not loaded("--help") & (HEAVY | {"numpy", "erfa"})


@pytest.mark.parametrize("command", ["locate", "measure", "window", "doctor"])
def test_help_of_a_command_loads_nothing_heavy(command: str) -> None:
    assert not loaded(command, "--help") & HEAVY


def test_locating_a_dark_fits_frame_loads_no_window_and_no_astropy(tmp_path: Path) -> None:
    path = tmp_path / "dark.fits"
    path.write_bytes(fits_bytes(np.full((64, 64), 100, dtype=np.uint16), {"EXPTIME": (1.0, "")}))
    assert not loaded("locate", str(path)) & (HEAVY - {"scipy"})  # scipy: the careful pass over a poor frame


@pytest.mark.parametrize(
    ("name", "started"), [("polewright", "command"), ("polewright-window", "window"), ("__main__.py", "command")]
)
def test_one_program_has_two_names(monkeypatch: pytest.MonkeyPatch, name: str, started: str) -> None:
    """In a frozen build for Linux the second program is a link to the first: its name says what opens."""
    from polewright import __main__ as entry

    called: list[str] = []

    def started_as(name: str) -> int:
        called.append(name)
        return 1

    monkeypatch.setattr(entry, "window_main", partial(started_as, "window"))
    monkeypatch.setattr(entry, "main", partial(started_as, "command"))
    monkeypatch.setattr("sys.argv", [f"/opt/polewright/{name}"])
    assert entry.start() == 1 and called == [started]


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="threads are counted on Linux only")
def test_linear_algebra_keeps_to_one_thread() -> None:
    """A pool that waits busily took two thirds of the time of a large frame."""
    code = (
        "import contextlib, os\nfrom polewright.__main__ import main\n"
        "with contextlib.suppress(SystemExit):\n    main(['tolerance', '--help'])\n"
        "import numpy\nnumpy.ones((500, 500)) @ numpy.ones((500, 500))\n"
        "print(len(os.listdir('/proc/self/task')))"
    )
    free = {name: value for name, value in os.environ.items() if name not in ONE_THREAD}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=free)
    assert int(done.stdout.split()[-1]) == 1
