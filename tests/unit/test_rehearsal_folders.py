"""Temporary folders of rehearsals go with their process, or with the next start after a kill."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from polewright.services.rehearsal_folders import FRAMES_KEPT, PREFIX, RehearsalFolders, only_latest, rehearsal_folder

MAKE = (
    "import os, sys; from pathlib import Path\n"
    "from polewright.services.rehearsal_folders import RehearsalFolders\n"
    "folders = RehearsalFolders(Path(sys.argv[1])); folder = folders.make()\n"
    "(folder / 'frames').mkdir(); (folder / 'frames' / 'a.fits').write_bytes(b'x')\n"
    "print(folder, flush=True); sys.stdin.readline(); os._exit(9)"
)


def test_what_a_killed_rehearsal_left_goes_with_the_next_and_a_running_one_stays(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", MAKE, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    folder = Path(process.stdout.readline().strip())
    mine = RehearsalFolders(tmp_path)
    own = mine.make()
    assert folder.is_dir(), "its process runs"
    process.communicate("\n")
    mine.sweep()
    assert not folder.exists() and own.is_dir()
    mine.discard(own)
    assert list(tmp_path.iterdir()) == []


def test_what_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    theirs, linked = tmp_path / f"{PREFIX}of-somebody", tmp_path / f"{PREFIX}link"
    theirs.mkdir()
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / ".lock").touch()
    linked.symlink_to(elsewhere)
    with rehearsal_folder(tmp_path) as folder:
        assert folder.is_dir()
    assert theirs.is_dir() and elsewhere.is_dir() and not folder.exists()


def test_of_the_frames_only_the_latest_stay(tmp_path: Path) -> None:
    for number in range(100):
        frame = tmp_path / f"calm-{number:04d}.fits"
        frame.write_bytes(b"x")
        os.utime(frame, (number, number))
        assert only_latest(frame) == str(frame)
    left = sorted(path.name for path in tmp_path.iterdir())
    assert len(left) == FRAMES_KEPT and left[-1] == "calm-0099.fits"
