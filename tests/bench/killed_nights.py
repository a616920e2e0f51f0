"""Nights killed at random moments (SIGKILL): does the log reopen, what is lost, does it resume in the same stage?

    python tests/bench/killed_nights.py [--kills 200] [--seed 1]

A child process rehearses a night and says after every published event how many lines it has recorded; the parent
kills it, reopens the night and compares. POSIX only (fork).
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
import threading
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Jobs
from polewright.runtime.retrace import CheckedReplay
from polewright.services.catalogue import load_catalogue
from polewright.services.clock import SystemClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.paths import cache_folder
from polewright.services.recorder import NightRecorder
from polewright.services.solver import Solver
from polewright.simulate.scenarios import SCENARIOS
from star_list_nights import rehearse_with_star_lists


def child(scenario: str, seed: int, folder: Path, solver: Solver, said: int) -> None:
    """Rehearse; after every published change write the number of recorded lines and frames to `said`."""

    def watch(night: object, hand: object) -> None:
        engine, recorder = night.engine, night.recorder  # type: ignore[attr-defined]

        def tell(_: NightEngine) -> None:
            os.write(said, f"{recorder.recorded} {engine.state.stage.name}\n".encode())

        engine.listen(tell)

    rehearse_with_star_lists(scenario, seed, folder, solver, watch=watch)


def killed(scenario: str, seed: int, folder: Path, solver: Solver, after_s: float) -> tuple[int, str]:
    """Lines recorded and the stage, by the last word of a child that was killed after `after_s`."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.close(reader)
            child(scenario, seed, folder, solver, writer)
        finally:
            os._exit(0)
    os.close(writer)
    timer = threading.Timer(after_s, os.kill, (pid, signal.SIGKILL))
    timer.start()
    with os.fdopen(reader, "rb") as words:
        heard = words.read()
    os.waitpid(pid, 0)
    timer.cancel()
    lines = [line.split() for line in heard.split(b"\n")[:-1]]
    return (int(lines[-1][0]), lines[-1][1].decode()) if lines else (0, "ORIENTATION")


def reopened(folder: Path) -> tuple[int, str, bool]:
    """Lines in the log, the stage after resuming, and whether replay agrees with it to the last bit."""
    recorder = NightRecorder(folder, SystemClock())
    log = recorder.resumed
    if log is None:
        recorder.close()
        return 0, "ORIENTATION", True
    engine = NightEngine(_no_frames, Jobs(), recorder, SystemClock())
    engine.resume(log)
    replay = CheckedReplay()
    for line in log.events:
        replay.take(line)
    for answer in replay.unanswered:
        replay.course.take(replace(answer, at_s=engine.now_s()))
    recorder.close()
    agrees = not replay.differences and replay.course.state.stage is engine.state.stage
    return len(log.events) + 1, engine.state.stage.name, agrees


def _no_frames(path: Path) -> MeasuredFrame:
    raise AssertionError(f"{path.name} was measured")


def main() -> int:
    """Kill and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=float, default=8.0, help="seconds until the latest kill")
    args = parser.parse_args()
    solver = Solver(load_catalogue(), cache_folder())
    rng, names = np.random.default_rng(args.seed), list(SCENARIOS)
    bad = 0
    stages: dict[str, int] = {}
    for number in range(args.kills):
        with tempfile.TemporaryDirectory(prefix="polewright-killed-") as place:
            folder = Path(place) / "night"
            after_s = float(rng.uniform(0.05, args.longest))
            lines, stage = killed(names[number % len(names)], number, folder, solver, after_s)
            found, resumed, agrees = reopened(folder) if folder.exists() else (0, "ORIENTATION", True)
        stages[resumed] = stages.get(resumed, 0) + 1
        # the child may have recorded more than it had said; a stage may have moved on with it
        good = found >= lines and agrees and (resumed == stage or found > lines)
        bad += not good
        if not good:
            print(f"kill {number} after {after_s:.2f} s: said {lines} {stage}, found {found} {resumed}, {agrees}")
    print(f"{args.kills} kills, {bad} bad; stages on resuming: {stages}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
