"""The watcher's thread with real writers: threads and processes, synchronised by conditions, never by sleeping."""

from __future__ import annotations

import io
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from iso_time import utc_from_iso
from polewright.services.clock import SystemClock, VirtualClock
from polewright.services.folder_events import (
    FolderBack,
    FolderEvent,
    FolderLost,
    FolderReady,
    FolderSurveyed,
    FrameArrived,
)
from polewright.services.folder_poller import FolderPoller, WatchSettings
from polewright.services.folder_watch import FolderWatcher, pause_s

PATIENCE_S = 20.0  # a limit for broken runs, not a wait
QUICK = WatchSettings(settle_s=0.05, closed_settle_s=0.02, poll_interval_s=0.02)


def fits_bytes(seed: int, size: int = 60) -> bytes:
    stream = io.BytesIO()
    fits.PrimaryHDU(np.random.default_rng(seed).integers(1, 4000, (size, size)).astype(np.uint16)).writeto(stream)
    return stream.getvalue()


class Listener:
    """Collects events and lets a test wait for a state of affairs."""

    def __init__(self) -> None:
        self.events: list[FolderEvent] = []
        self._changed = threading.Condition()

    def __call__(self, event: FolderEvent) -> None:
        with self._changed:
            self.events.append(event)
            self._changed.notify_all()

    def wait_for(self, true: Callable[[list[FolderEvent]], bool]) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: true(self.events), PATIENCE_S), self.events

    def frames(self) -> list[str]:
        with self._changed:
            return [event.path.name for event in self.events if isinstance(event, FrameArrived)]

    def wait_for_frames(self, count: int) -> None:
        self.wait_for(lambda events: sum(isinstance(event, FrameArrived) for event in events) >= count)


@pytest.fixture(params=["native events", "polling only"])
def watch(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[Path], Listener]]:
    """Start watchers that are stopped, and checked to have stopped, at the end."""
    running: list[FolderWatcher] = []

    def start(folder: Path) -> Listener:
        listener = Listener()
        watcher = FolderWatcher(folder, listener, SystemClock(), QUICK, native=request.param == "native events")
        watcher.start()
        running.append(watcher)
        return listener

    yield start
    for watcher in running:
        assert watcher.stop(PATIENCE_S)
        assert watcher.stalled_s() == 0.0


def ready(events: list[FolderEvent]) -> bool:
    return any(isinstance(event, FolderReady) for event in events)


SLOW_WRITER = """
import sys, time
from pathlib import Path
target, source = Path(sys.argv[1]), Path(sys.argv[2]).read_bytes()
with target.open("wb", buffering=0) as file:
    for start in range(0, len(source), 3000):
        file.write(source[start:start + 3000])
        time.sleep(0.01)
"""


def test_a_slow_writer_in_another_process(watch: Callable[[Path], Listener], tmp_path: Path) -> None:
    folder, source = tmp_path / "frames", tmp_path / "source.bin"
    folder.mkdir()
    source.write_bytes(fits_bytes(1))
    listener = watch(folder)
    listener.wait_for(ready)
    done = subprocess.run([sys.executable, "-c", SLOW_WRITER, str(folder / "slow.fits"), str(source)], check=False)
    assert done.returncode == 0
    listener.wait_for_frames(1)
    frame = next(event for event in listener.events if isinstance(event, FrameArrived))
    assert frame.complete and frame.size_bytes == source.stat().st_size
    assert listener.frames() == ["slow.fits"]


def test_many_writers_at_once_lose_nothing(watch: Callable[[Path], Listener], tmp_path: Path) -> None:
    listener = watch(tmp_path)
    listener.wait_for(ready)

    def write(number: int) -> None:
        for part in range(8):
            name = f"{number}-{part}.fits"
            blob = fits_bytes(10 * number + part)
            if part % 2:
                (tmp_path / f"{name}.part").write_bytes(blob)
                (tmp_path / f"{name}.part").rename(tmp_path / name)
            else:
                with (tmp_path / name).open("wb", buffering=0) as file:
                    for start in range(0, len(blob), 2000):
                        file.write(blob[start : start + 2000])

    writers = [threading.Thread(target=write, args=(number,)) for number in range(4)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(PATIENCE_S)
    listener.wait_for_frames(32)
    assert len(set(listener.frames())) == 32
    assert all(event.complete for event in listener.events if isinstance(event, FrameArrived))


def test_the_folder_is_renamed_away_and_back(watch: Callable[[Path], Listener], tmp_path: Path) -> None:
    folder, away = tmp_path / "frames", tmp_path / "away"
    folder.mkdir()
    listener = watch(folder)
    listener.wait_for(ready)
    (folder / "1.fits").write_bytes(fits_bytes(1))
    listener.wait_for_frames(1)
    folder.rename(away)
    listener.wait_for(lambda events: any(isinstance(event, FolderLost) for event in events))
    (away / "2.fits").write_bytes(fits_bytes(2))
    away.rename(folder)
    listener.wait_for(lambda events: any(isinstance(event, FolderBack) for event in events))
    listener.wait_for_frames(2)
    (folder / "3.fits").write_bytes(fits_bytes(3))
    listener.wait_for_frames(3)
    assert listener.frames() == ["1.fits", "2.fits", "3.fits"]


def test_a_picture_without_a_recognisable_end(watch: Callable[[Path], Listener], tmp_path: Path) -> None:
    listener = watch(tmp_path)
    listener.wait_for(ready)
    (tmp_path / "a.tif").write_bytes(b"II*\0" + bytes(500))
    listener.wait_for_frames(1)


def frame(name: str) -> FrameArrived:
    return FrameArrived(Path(name), 1, 1)


def test_a_stalled_share_holds_up_the_watcher_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first look hangs, as a call to a dead file server does; the clock shows for how long."""
    entered, release = threading.Event(), threading.Event()
    real = FolderPoller.poll

    def hanging(self: FolderPoller, now_s: float) -> list[FolderEvent]:
        entered.set()
        assert release.wait(PATIENCE_S)
        return real(self, now_s)

    monkeypatch.setattr(FolderPoller, "poll", hanging)
    clock, listener = VirtualClock(utc_from_iso("2026-03-01T20:00:00")), Listener()
    watcher = FolderWatcher(tmp_path, listener, clock, QUICK, native=False)
    watcher.start()
    assert entered.wait(PATIENCE_S)
    clock.advance(45.0)
    assert watcher.stalled_s() == 45.0
    assert not watcher.stop(timeout_s=0.0), "it cannot be stopped now, and says so"
    release.set()
    assert watcher.stop(PATIENCE_S)
    assert ready(listener.events)


def test_while_nothing_comes_it_tells_what_lies_there(tmp_path: Path) -> None:
    (tmp_path / "2026-11-20").mkdir()
    (tmp_path / "notes.txt").touch()
    clock, listener = VirtualClock(utc_from_iso("2026-11-20T18:00:00")), Listener()
    watcher = FolderWatcher(tmp_path, listener, clock, QUICK, native=False)
    watcher.start()
    try:
        listener.wait_for(lambda events: any(isinstance(event, FolderReady) for event in events))
        assert not any(isinstance(event, FolderSurveyed) for event in listener.events)
        clock.advance(6.0)
        listener.wait_for(lambda events: any(isinstance(event, FolderSurveyed) for event in events))
        (told,) = (event.survey for event in listener.events if isinstance(event, FolderSurveyed))
        assert told.followed == ("2026-11-20",) and told.others == ((".txt", 1),)
    finally:
        assert watcher.stop()


def test_a_frame_in_a_folder_by_date_is_reported(tmp_path: Path, watch: Callable[[Path], Listener]) -> None:
    listener = watch(tmp_path)
    listener.wait_for(lambda events: any(isinstance(event, FolderReady) for event in events))
    night = tmp_path / "2026-11-20" / "sky"
    night.mkdir(parents=True)
    (night / "a.fits").write_bytes(fits_bytes(1))
    listener.wait_for_frames(1)
    (night / "b.fits").write_bytes(fits_bytes(2))
    listener.wait_for_frames(2)
    assert listener.frames() == ["a.fits", "b.fits"]


@pytest.mark.parametrize(
    ("took_s", "pause"), [(0.0, 0.5), (0.01, 0.49), (0.1, 1.9), (2.0, 38.0), (11.0, 60.0), (28800.0, 60.0)]
)
def test_a_slow_folder_is_looked_at_less_often_but_never_given_up(took_s: float, pause: float) -> None:
    """The last two: a process that was stopped within a look, and a computer that slept through the night in one."""
    assert pause_s(took_s, 0.5) == pytest.approx(pause)
