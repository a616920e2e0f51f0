"""What an open window costs: processor time of its process and all below it, as a share of one core.

    python tests/bench/idle_cost.py [--seconds 30] [--platform offscreen]
    xvfb-run -a python tests/bench/idle_cost.py --platform xcb

The first page by day and in red, left alone; then a night after its capture, at rest and with two frames of
1280 x 960 a second (window_session.py drives it). Exit code 1 when one of them costs more than it may; a busy machine
makes all of them dearer, so judge a failure on a quiet one.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from window_session import KEPT, rendered, stream

from polewright.services.paths import cache_folder

MOST_IDLE, MOST_BUSY = 0.012, 0.40  # of a core (chosen: limits to notice a change by)
SETTLE_S = 8.0  # of starting: fonts, catalogue, the index that is there already
EVERY_S = 0.5
TICKS_S = os.sysconf("SC_CLK_TCK")


def spent_s(process: int) -> float:
    """Processor time of a process and of all that it has started, s."""
    parents = {int(p.name): _fields(p) for p in Path("/proc").iterdir() if p.name.isdigit()}
    family, grown = {process}, True
    while grown:
        more = {child for child, fields in parents.items() if fields and int(fields[1]) in family}
        grown, family = not more <= family, family | more
    known = [parents[one] for one in family if parents.get(one)]
    return sum(sum(int(ticks) for ticks in fields[11:15]) for fields in known) / TICKS_S


def _fields(process: Path) -> list[str]:
    """What stands after the name in the process's line, its state first; nothing where it has just ended."""
    try:
        return (process / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


@contextmanager
def home() -> Iterator[tuple[Path, Path]]:
    """A folder for frames and a home of its own, with the index that is there."""
    with tempfile.TemporaryDirectory(prefix="polewright-idle-") as name:
        place = Path(name)
        (place / "frames").mkdir()
        (place / "home").mkdir()
        (place / "home" / "cache").symlink_to(cache_folder())
        yield place / "frames", place / "home"


def share(process: int, seconds: float) -> float:
    """Of a core, over so long."""
    before, begun = spent_s(process), time.monotonic()
    time.sleep(seconds)
    return (spent_s(process) - before) / (time.monotonic() - begun)


def first_page(environment: dict[str, str], seconds: float, red: bool) -> float:
    """The window as the command opens it."""
    with home() as (_, own):
        command = [sys.executable, "-m", "polewright", "window", *(["--red"] if red else [])]
        with subprocess.Popen(command, env={**environment, "POLEWRIGHT_HOME": str(own)}) as window:
            try:
                time.sleep(SETTLE_S)
                assert window.poll() is None, "the window has closed"
                return share(window.pid, seconds)
            finally:
                window.terminate()


def night(environment: dict[str, str], seconds: float) -> tuple[float, float]:
    """A night after its capture: at rest, and with two frames a second."""
    capture, adjust = rendered()
    session = Path(__file__).with_name("window_session.py")
    with home() as (folder, own):
        command = [sys.executable, str(session), "--still", "--child", str(folder)]
        env = {**environment, "POLEWRIGHT_HOME": str(own)}
        with subprocess.Popen(command, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as window:
            assert window.stdin is not None and window.stdout is not None
            assert window.stdout.readline() == "ready\n"
            frames = enumerate(stream(capture, adjust, 10 + round(seconds / EVERY_S)))
            _feed(frames, folder, len(capture) + 10, 3.0)
            time.sleep(3.0)
            at_rest = share(window.pid, seconds)
            before, begun = spent_s(window.pid), time.monotonic()
            _feed(frames, folder, round(seconds / EVERY_S), EVERY_S)
            busy = (spent_s(window.pid) - before) / (time.monotonic() - begun)
            window.stdin.close()
            window.stdout.readline()
            return at_rest, busy


def _feed(frames: Iterator[tuple[int, bytes]], folder: Path, count: int, every_s: float) -> None:
    due = time.monotonic()
    for _, (number, data) in zip(range(count), frames):
        (folder / f"{number:05d}.fits").write_bytes(data)
        (folder / f"{number - KEPT:05d}.fits").unlink(missing_ok=True)
        due += every_s
        time.sleep(max(0.0, due - time.monotonic()))


def main() -> int:
    """Measure and judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--platform", default="offscreen")
    args = parser.parse_args()
    environment = {**os.environ, "QT_QPA_PLATFORM": args.platform}
    found = {
        "first page by day": (first_page(environment, args.seconds, False), MOST_IDLE),
        "first page in red": (first_page(environment, args.seconds, True), MOST_IDLE),
    }
    at_rest, busy = night(environment, args.seconds)
    found |= {"night at rest": (at_rest, MOST_IDLE), "two frames a second": (busy, MOST_BUSY)}
    for what, (cost, most) in found.items():
        print(f"{what:22s} {100.0 * cost:6.2f} % of a core, at most {100.0 * most:.1f} %")
    return int(any(cost > most for cost, most in found.values()))


if __name__ == "__main__":
    sys.exit(main())
