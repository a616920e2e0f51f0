"""The window's process is stopped in the middle of a night and continued, as a shell's Ctrl+Z or a debugger does."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from polewright.runtime.retrace import CheckedReplay
from polewright.services.night_log import read_night
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from sky_solver import shared_catalogue

GIVEN_UP_S = 90.0  # the child is ended, and its silence fails the test
STOPPED_S = 11.0  # longer than a folder may stay silent before it is called stalled


def facts_of(process: subprocess.Popen[str]) -> Iterator[dict[str, Any]]:
    assert process.stdout is not None
    yield from map(json.loads, process.stdout)


def until_frames(facts: Iterator[dict[str, Any]], number: int) -> dict[str, Any]:
    return next(fact for fact in facts if fact["frames"] >= number)


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="this system stops no process so")
def test_a_stopped_process_goes_on_and_loses_no_frame(tmp_path: Path) -> None:
    frames, night = tmp_path / "frames", tmp_path / "night"
    frames.mkdir()
    rig = SimulatedRig(SCENARIOS["calm"], 3, shared_catalogue())

    def frame(at_s: float) -> None:
        path, _ = rig.write_frame(tmp_path, rig.night.start.plus_seconds(at_s), 1.0)
        path.rename(frames / path.name)

    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, "-m", "stopped_window", str(night), str(frames)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=env, cwd=tmp_path, start_new_session=True
    ) as child:
        watchdog = threading.Timer(GIVEN_UP_S, child.kill)
        watchdog.start()
        try:
            facts = facts_of(child)
            next(fact for fact in facts if fact["stage"] == "CAPTURE" and fact["looked"])
            frame(0.0)
            until_frames(facts, 1)
            frame(5.0)
            os.killpg(child.pid, signal.SIGSTOP)
            frame(10.0)
            time.sleep(STOPPED_S)
            frame(15.0)
            os.killpg(child.pid, signal.SIGCONT)
            until_frames(facts, 4)
            frame(20.0)
            last = until_frames(facts, 5)
            (frames / "enough").touch()
            *_, end = facts
            assert child.wait(30) == 0
        finally:
            watchdog.cancel()
            child.kill()
    assert last == {"stage": "CAPTURE", "frames": 5, "notices": [], "looked": False}
    assert end == {"problems": []}
    log, replay = read_night(night), CheckedReplay()
    for line in log.events:
        replay.take(line)
    assert replay.differences == [] and [line.seq for line in log.events] == list(range(1, len(log.events) + 1))
