"""Every single step on the disk may fail, once or for a while: the night loses nothing and litters nothing."""

from __future__ import annotations

import errno
import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from failing_disk import FailingDisk
from iso_time import utc_from_iso
from polewright.services.atomic_file import write_atomically
from polewright.services.clock import VirtualClock
from polewright.services.log_format import LoggedEvent, encode_line
from polewright.services.night_folders import KeepFrames, keep_frame
from polewright.services.night_log import LOG_NAME, read_night
from polewright.services.recorder import NightRecorder
from polewright.simulate.fits_file import write_at_once

START = utc_from_iso("2026-03-01T20:00:00")
TORN = b'{"seq":1,"t_s":0.5,"ki'
WHILES = (1, 2, 5, 40)  # steps that fail in a row: a hiccup, a retry or two, and a while of a full disk


def torn_night(folder: Path) -> None:
    """A log whose last line a crash has cut."""
    folder.mkdir()
    header = encode_line(LoggedEvent(0, 0.0, START, "log", {"format": "polewright-night", "version": 1}))
    (folder / LOG_NAME).write_bytes(header + TORN)


def recorded(folder: Path, delete: bool) -> NightRecorder:
    """Twelve events, taken up after a crash; in between somebody deletes the log, if asked."""
    clock = VirtualClock(START)
    night = NightRecorder(folder, clock)
    for number in range(12):
        clock.advance(0.7)
        night.record("frame", {"n": number}, urgent=number % 5 == 0)
        night.keep_checkpoint({"n": number})
        if delete and number == 6 and night.trouble is None:  # a log that nobody holds open is gone
            (folder / LOG_NAME).unlink()
    return night


def every_step(folder: Path, delete: bool) -> Iterator[tuple[Path, int, int]]:
    """A folder of its own for each step that may fail, and for how long."""
    with pytest.MonkeyPatch.context() as patch:
        torn_night(folder / "sound")
        disk = FailingDisk(patch, first=-1, count=0)
        assert recorded(folder / "sound", delete).close()
        steps = disk.steps
    for count in WHILES:
        for first in range(0, steps, 1 if count < 40 else 7):
            yield folder / f"{count}-{first}", first, count


@pytest.mark.skipif(not hasattr(os, "O_DIRECTORY"), reason="folders cannot be put on the disk there")
def test_a_new_file_and_its_name_are_put_on_the_disk_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """fsync(2): that of a file does not put the entry in its folder on the disk; the folder needs one of its own."""
    put: list[tuple[bool, bool]] = []
    sync = os.fsync

    def seen(descriptor: int) -> None:
        put.append((stat.S_ISDIR(os.fstat(descriptor).st_mode), (tmp_path / "rig.json").exists()))
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", seen)
    write_atomically(tmp_path / "rig.json", b"{}")
    assert put == [(False, False), (True, True)]  # the content before it has its name, the folder after that


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO], ids=errno.errorcode.get)
@pytest.mark.parametrize(
    "delete", [False, pytest.param(True, marks=pytest.mark.skipif(os.name == "nt", reason="no"))]
)
def test_whichever_step_fails_the_night_is_whole_in_the_end(tmp_path: Path, number: int, delete: bool) -> None:
    tried = 0
    for folder, first, count in every_step(tmp_path, delete):
        torn_night(folder)
        with pytest.MonkeyPatch.context() as patch:
            FailingDisk(patch, first, count, number)
            night = recorded(folder, delete)
        assert night.retry(urgent=True) and night.close(), (first, count)
        log = read_night(folder)
        assert [event.data["n"] for event in log.events] == list(range(12)), (first, count)
        assert log.header and log.problems == (), (first, count)
        torn = [path.read_bytes() for path in folder.glob("*.torn-*")]
        assert torn.count(TORN) == 1, "the torn line is kept, once and whole"
        assert len(torn) <= 2, (first, count)  # half a line of our own, where it could not be taken back either
        assert not list(folder.glob(".*.tmp")), (first, count)
        tried += 1
    assert tried > 100


@pytest.mark.parametrize("write", [write_atomically, write_at_once], ids=lambda f: f.__name__)
def test_a_file_is_the_old_or_the_new_one_whichever_step_fails(tmp_path: Path, write) -> None:  # type: ignore[no-untyped-def]
    path, new = tmp_path / "file", b"new" * 40_000
    for first in range(12):
        path.write_bytes(b"old")
        with pytest.MonkeyPatch.context() as patch:
            disk = FailingDisk(patch, first)
            try:
                write(path, new)
                done = True
            except OSError:
                done = False
        assert path.read_bytes() == new if done else path.read_bytes() in (b"old", new)
        assert [p.name for p in tmp_path.iterdir()] == ["file"], f"step {first} left something behind"
    assert done and disk.steps <= first, "the last steps tried are beyond the end"


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
@pytest.mark.parametrize("how", [KeepFrames.COPY, KeepFrames.LINK])
def test_a_frame_is_kept_whole_or_not_at_all(tmp_path: Path, how: KeepFrames) -> None:
    from polewright.core.errors import RecordingError

    frame = tmp_path / "a.fits"
    frame.write_bytes(b"frame" * 1000)
    for first in range(4):
        folder = tmp_path / f"night-{first}"
        with pytest.MonkeyPatch.context() as patch:
            FailingDisk(patch, first)
            try:
                kept = [folder / keep_frame(folder, frame, how)]
            except RecordingError:
                kept = []
        assert [p for p in folder.rglob("*") if p.is_file()] == kept
        assert all(p.read_bytes() == frame.read_bytes() for p in kept)
