"""Pictures of pages for the README, and the window at 200 %."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from polewright.core.errors import UsageError
from polewright.ui.shots import parse_sizes, take_all
from screens.conftest import rgb
from screens.demo_views import PAGES


def test_pictures_come_in_every_light_and_size(qtbot: QtBot, tmp_path: Path) -> None:
    taken = take_all(tmp_path / "new", {"fine": PAGES["fine"](), "capture": PAGES["capture"]()}, [(1024, 700)])
    assert sorted(p.name for p in taken) == [
        "capture-day-1024x700.png",
        "capture-red-1024x700.png",
        "fine-day-1024x700.png",
        "fine-reading-day-1024x700.png",
        "fine-reading-red-1024x700.png",
        "fine-red-1024x700.png",
    ]
    for path in taken:
        picture = rgb(QImage(str(path)))
        assert picture.shape[:2] == (700, 1024)
        assert ("red" in path.name) == (not picture[..., 1:].any())


def test_a_folder_that_cannot_be_written_is_said(qtbot: QtBot, tmp_path: Path) -> None:
    (tmp_path / "fine-day-1024x700.png").mkdir()
    with pytest.raises(UsageError, match="cannot be written"):
        take_all(tmp_path, {"fine": PAGES["fine"]()}, [(1024, 700)])


def test_sizes_are_read() -> None:
    assert parse_sizes("1280x800, 1920X1080") == ((1280, 800), (1920, 1080))
    for bad in ("", "1280", "1280x", "axb", "1280x-5"):
        with pytest.raises(UsageError, match="is not a size"):
            parse_sizes(bad)


SCRIPT = """
import json, sys
from PySide6.QtWidgets import QApplication
app = QApplication([])
from screens.demo_plans import plan_view
from screens.demo_views import PAGES
from polewright.ui.drawing import LEDGER
from polewright.ui.main_window import MainWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light
window = MainWindow(WindowSettings(Light.RED))
window.night.well.animated = False
window.resize(1024, 700)
window.show()
app.processEvents()
LEDGER.overflows.clear()
found = {}
for name in ("first-run", "capture", "rough", "fine-stale", "replay", "plan"):
    window.show_view(plan_view("whole") if name == "plan" else PAGES[name]())
    window.show_plan_page()
    image = window.grab().toImage()
    wrong = sum(
        1 for y in range(0, image.height(), 3) for x in range(0, image.width(), 3)
        if image.pixel(x, y) & 0xFFFF
    )
    found[name] = [image.width(), image.height(), wrong]
print(json.dumps({"pages": found, "overflows": LEDGER.overflows}))
window.close()
window.deleteLater()
app.sendPostedEvents(None, 52)  # deferred deletes: the window goes before the application
"""


@pytest.mark.parametrize("factor", ["2", "3"])
def test_at_two_and_three_hundred_percent(factor: str) -> None:
    """The scale factor is read when Qt starts, so this needs a process of its own."""
    env = {**os.environ, "QT_SCALE_FACTOR": factor, "QT_QPA_PLATFORM": "offscreen"}
    env["PYTHONPATH"] = os.pathsep.join(sys.path)  # the same program as this process runs
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, env=env, check=True)
    result = json.loads(done.stdout.splitlines()[-1])
    assert result["overflows"] == []
    for name, (width, height, wrong) in result["pages"].items():
        assert (width, height) == (1024 * int(factor), 700 * int(factor)), name
        assert wrong == 0, name
