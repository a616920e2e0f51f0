"""Folders that somebody else fills: pipes, loops, devices, odd names, files dribbled, cut and written over."""

from __future__ import annotations

import os
import queue
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.clock import SystemClock
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.folder_events import FolderEvent, FolderReady, FrameArrived
from polewright.services.folder_watch import FolderWatcher
from polewright.services.report.writing import encoded
from polewright.simulate.fits_file import fits_bytes

pytestmark = pytest.mark.skipif(os.name == "nt", reason="such files and names do not exist there")
FRAME = fits_bytes(np.random.default_rng(1).integers(90, 110, (64, 64)).astype(np.uint16), {"EXPTIME": (1.0, "")})
ODD_NAMES = [
    b"new\nline.fits",
    "\u202egnp.right-to-left.fits".encode(),
    b"no\xfftext.fits",
    b"-rf.fits",
    b"a b'\"$(x).fits",
]
if sys.platform == "darwin":
    ODD_NAMES.remove(b"no\xfftext.fits")  # its file systems refuse it


def put_traps(folder: Path) -> None:
    os.mkfifo(folder / "pipe.fits")
    (folder / "device.fits").symlink_to("/dev/zero")
    (folder / "loop.fits").symlink_to(folder / "loop.fits")
    (folder / "folder.fits").mkdir()
    (folder / "around").symlink_to(folder)
    (folder / "gone.fits").symlink_to(folder / "nowhere")
    (folder / "empty.fits").touch()


def arrivals(
    reports: queue.SimpleQueue[FolderEvent], wanted: set[Path], patience_s: float = 30.0
) -> list[FrameArrived]:
    """What has arrived once all that is wanted has."""
    found: list[FrameArrived] = []
    end = time.monotonic() + patience_s
    while not wanted <= {frame.path for frame in found}:
        assert time.monotonic() < end, f"missing {wanted - {frame.path for frame in found}}"
        try:
            report = reports.get(timeout=0.5)
        except queue.Empty:
            continue
        if isinstance(report, FrameArrived):
            found.append(report)
    return found


def test_among_traps_the_frames_are_found_and_read(tmp_path: Path) -> None:
    put_traps(tmp_path)
    reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
    watcher, helper = FolderWatcher(tmp_path, reports.put, SystemClock()), HelperProcess()
    reader = ContainedReader(helper)
    watcher.start()
    try:
        assert isinstance(reports.get(timeout=20.0), FolderReady)
        odd = [tmp_path / os.fsdecode(name) for name in ODD_NAMES]
        for path in odd:
            path.write_bytes(FRAME)
        dribbled = tmp_path / "dribbled.fits"
        threading.Thread(target=dribble, args=(dribbled,), daemon=True).start()
        found = {frame.path: frame for frame in arrivals(reports, {*odd, dribbled})}
        for path in (*odd, dribbled):
            frame = reader.read(path)
            assert isinstance(frame, Frame) and frame.name.isprintable() and found[path].complete
        for trap in tmp_path.glob("*.fits"):
            if trap not in found:
                with pytest.raises(FrameReadError):
                    reader.read(trap)
    finally:
        assert watcher.stop()
        helper.close()


def dribble(path: Path) -> None:
    """A slow writer: a little at a time, over three seconds."""
    with path.open("wb", buffering=0) as file:
        for start in range(0, len(FRAME), len(FRAME) // 12):
            file.write(FRAME[start : start + len(FRAME) // 12])
            time.sleep(0.25)


class QuickClock(SystemClock):
    """Patience that would take twenty seconds takes four."""

    def monotonic_s(self) -> float:
        return 5.0 * super().monotonic_s()


def test_a_file_written_over_is_reported_again_and_a_cut_one_is_not_complete(tmp_path: Path) -> None:
    reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
    watcher = FolderWatcher(tmp_path, reports.put, QuickClock())
    watcher.start()
    try:
        assert isinstance(reports.get(timeout=20.0), FolderReady)
        path = tmp_path / "same.fits"
        path.write_bytes(FRAME)
        assert not arrivals(reports, {path})[0].again
        other = fits_bytes(
            np.random.default_rng(2).integers(90, 110, (64, 64)).astype(np.uint16), {"EXPTIME": (1.0, "")}
        )
        path.write_bytes(other)
        assert arrivals(reports, {path})[0].again
        path.write_bytes(FRAME[: len(FRAME) // 2])
        assert not arrivals(reports, {path})[0].complete
    finally:
        assert watcher.stop()


def test_thirty_thousand_old_files_do_not_hold_up_a_new_one(tmp_path: Path) -> None:
    for number in range(30_000):
        (tmp_path / f"old-{number:05d}.fits").touch()
    reports: queue.SimpleQueue[FolderEvent] = queue.SimpleQueue()
    watcher = FolderWatcher(tmp_path, reports.put, SystemClock())
    watcher.start()
    try:
        ready = reports.get(timeout=60.0)
        assert isinstance(ready, FolderReady)
        begun, new = time.monotonic(), tmp_path / "new.fits"
        new.write_bytes(FRAME)
        assert [frame.path for frame in arrivals(reports, {new})] == [new]
        assert time.monotonic() - begun < 10.0
    finally:
        assert watcher.stop()


def test_a_report_can_hold_any_name() -> None:
    assert encoded("a\udcff\u202eb") == b"a?b"
