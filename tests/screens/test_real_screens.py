"""The window as it opens on small screens, beside a task bar and with large type, each in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

# (width, height, scale factor) as the desktop offers them; 1280 x 800 less a task bar of 40 px
SCREENS = ((1024, 600, "1"), (1024, 768, "1"), (1280, 760, "1"), (1366, 768, "1.25"), (3840, 2160, "2"))


def opened_on(width: int, height: int, factor: str, home: Path) -> dict[str, object]:
    """What `screens.on_a_screen` finds where Qt was started on such a screen."""
    screen = {"name": "only", "x": 0, "y": 0, "width": width, "height": height, "dpr": 1}
    screen |= {"logicalDpi": 96, "logicalBaseDpi": 96}
    setup = home / "screen.json"
    setup.write_text(json.dumps({"windowFrameMargins": True, "screens": [screen]}), encoding="utf-8")
    env = {**os.environ, "QT_SCALE_FACTOR": factor, "QT_QPA_PLATFORM": f"offscreen:configfile={setup}"}
    env["PYTHONPATH"] = os.pathsep.join(sys.path)  # the same program as this process runs
    command = [sys.executable, "-m", "screens.on_a_screen"]
    done = subprocess.run(command, capture_output=True, text=True, env=env, cwd=home, check=True)
    result: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return result


@pytest.mark.parametrize(("width", "height", "factor"), SCREENS)
def test_every_page_is_whole_on_the_screen(tmp_path: Path, width: int, height: int, factor: str) -> None:
    result = opened_on(width, height, factor, tmp_path)
    offered = (round(width / float(factor)), round(height / float(factor)))
    assert tuple(result["screen"]) == pytest.approx(offered, abs=1), "the process has the screen that was meant"  # type: ignore[arg-type]
    assert len(result["seen"]) > 40  # type: ignore[arg-type]
    assert result["found"] == []
