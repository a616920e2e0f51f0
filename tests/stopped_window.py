"""A night in a process of its own that is stopped and continued: `python -m stopped_window NIGHT FRAMES`.

Says a line of JSON for every change; its frames are read by the reader that the window uses. Run by
flows/test_stopped_process.py.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QTimer

from night_kit import unsolved_frame
from polewright.core.model import Site, Sourced, TargetPole
from polewright.core.night import events
from polewright.core.night.events import NOW
from polewright.runtime.starting import night_started
from polewright.services.clock import SystemClock
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.measuring import MeasuredFrame
from polewright.ui.driving.desk import NightOrder
from polewright.ui.driving.snapshot import Snapshot
from polewright.ui.driving.threaded_desk import ThreadedDesk


def told(snapshot: Snapshot) -> None:
    """One line for the parent."""
    state = snapshot.state
    facts = {
        "stage": getattr(getattr(state, "stage", None), "name", ""),
        "frames": getattr(state, "frames_unsolved", 0),
        "notices": [notice.topic for notice in snapshot.notices],
        "looked": snapshot.survey is not None,  # nothing has arrived yet: what comes from now on is new
    }
    print(json.dumps(facts), flush=True)


def main(night: Path, frames: Path) -> None:
    """Until the process is ended by a line on its input."""
    app = QCoreApplication([])
    helper = HelperProcess()
    reader = ContainedReader(helper)

    def measure(path: Path) -> MeasuredFrame:
        reader.read(path)
        measured = unsolved_frame(path.name)
        return replace(measured, frame=replace(measured.frame, utc_mid=Sourced(SystemClock().utc(), "header")))

    desk = ThreadedDesk(NightOrder(night, measure, SystemClock()), told)
    desk.click(night_started(Site(52.3, 3.0, 80.0), TargetPole.REFRACTED, 3e-4))
    desk.click(events.NextAsked(NOW))
    desk.watch(frames)
    until = QTimer()
    until.timeout.connect(lambda: app.quit() if (frames / "enough").exists() else None)
    until.start(50)
    app.exec()
    print(json.dumps({"problems": desk.stop()}), flush=True)
    helper.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
