"""The polling core with a hand-driven clock: real files in a real folder, no thread, no waiting."""

from __future__ import annotations

import io
import itertools
import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy.io import fits
from PIL import Image

from polewright.services.dated_folders import date_in, to_follow
from polewright.services.folder_events import FolderBack, FolderEvent, FolderLost, FolderReady, FrameArrived
from polewright.services.folder_poller import FolderPoller, WatchSettings
from polewright.services.frame_completeness import Completeness, Inspection, inspect_frame

SETTINGS = WatchSettings(settle_s=1.0, closed_settle_s=0.2, give_up_s=10.0)


def fits_bytes(seed: int = 1, size: int = 40) -> bytes:
    stream = io.BytesIO()
    fits.PrimaryHDU(np.random.default_rng(seed).integers(1, 4000, (size, size)).astype(np.uint16)).writeto(stream)
    return stream.getvalue()


def names(events: list[FolderEvent]) -> list[str]:
    return [event.path.name for event in events if isinstance(event, FrameArrived)]


class Watched:
    """A folder, its poller, and a clock; `look(after)` polls that many seconds later."""

    def __init__(self, folder: Path, **settings: Any) -> None:
        self.folder = folder
        self.poller = FolderPoller(folder, WatchSettings(**{**SETTINGS.__dict__, **settings}))
        self.now_s = 1000.0

    def look(self, after_s: float = 0.1) -> list[FolderEvent]:
        self.now_s += after_s
        return self.poller.poll(self.now_s)


def test_old_files_are_left_alone_and_a_finished_fits_is_reported_at_once(tmp_path: Path) -> None:
    (tmp_path / "old.fits").write_bytes(fits_bytes())
    watched = Watched(tmp_path)
    assert watched.look() == [FolderReady(tmp_path, 1)]
    (tmp_path / "new.fits").write_bytes(fits_bytes(2))
    (tmp_path / "notes.txt").write_text("no frame")
    events = watched.look()
    assert names(events) == ["new.fits"]
    frame = events[0]
    assert isinstance(frame, FrameArrived)
    assert frame.complete and not frame.again and frame.size_bytes == (tmp_path / "new.fits").stat().st_size
    assert watched.look() == []


def test_existing_files_are_reported_when_asked_for_oldest_first(tmp_path: Path) -> None:
    for number, name in enumerate(["b.fits", "a.fits", "c.fits"]):
        (tmp_path / name).write_bytes(fits_bytes(number))
        os.utime(tmp_path / name, ns=(10**18 + number * 10**9, 10**18 + number * 10**9))
    watched = Watched(tmp_path, include_existing=True)
    assert names(watched.look()) == ["b.fits", "a.fits", "c.fits"]


def test_a_fits_written_in_pieces_is_reported_when_its_last_byte_is_there(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    blob = fits_bytes()
    with (tmp_path / "slow.fits").open("wb", buffering=0) as file:
        for start in range(0, len(blob), 700):
            assert watched.look(5.0) == [], "even a long pause inside the file does not fool it"
            file.write(blob[start : start + 700])
        assert names(watched.look(0.01)) == ["slow.fits"]


def test_a_fits_of_reserved_length_waits_for_its_last_bytes(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    blob = fits_bytes()
    with (tmp_path / "reserved.fits").open("wb", buffering=0) as file:
        file.truncate(len(blob))
        file.write(blob[:2880])
        assert watched.look() == []
        file.write(blob[2880:])
        assert names(watched.look()) == ["reserved.fits"]


def test_a_file_without_a_recognisable_end_must_be_quiet(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    path = tmp_path / "a.tif"
    path.write_bytes(b"II*\0" + bytes(100))
    assert watched.look() == []
    assert watched.poller.next_look_s() == pytest.approx(watched.now_s + 1.0)
    assert watched.look(0.9) == []
    path.write_bytes(b"II*\0" + bytes(200))
    assert watched.look(0.2) == [], "it has grown: the wait begins anew"
    assert watched.look(0.9) == []
    assert names(watched.look(0.2)) == ["a.tif"]


def test_a_close_event_shortens_the_wait(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    path = tmp_path / "a.tif"
    path.write_bytes(b"II*\0" + bytes(100))
    assert watched.poller.look_at({str(path): True}, watched.now_s) == []
    assert names(watched.poller.look_at({}, watched.now_s + 0.21)) == ["a.tif"]


def test_an_unfinished_file_is_given_up_in_the_end_and_said_to_be_incomplete(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    (tmp_path / "cut.fits").write_bytes(fits_bytes()[:4000])
    (tmp_path / "empty.fits").touch()
    assert watched.look() == [] and watched.look(9.0) == []
    events = watched.look(2.0)
    assert sorted(names(events)) == ["cut.fits", "empty.fits"]
    assert not any(event.complete for event in events if isinstance(event, FrameArrived))


def test_a_locked_file_waits_for_its_lock(tmp_path: Path) -> None:
    """As on Windows: the file can be listed, but not opened."""
    locked = True

    def inspect(path: Path, size_bytes: int) -> Inspection:
        return Inspection(Completeness.INCOMPLETE) if locked else inspect_frame(path, size_bytes)

    poller = FolderPoller(tmp_path, SETTINGS, inspect)
    poller.poll(0.0)
    path = tmp_path / "a.fits"
    path.write_bytes(fits_bytes())
    assert poller.poll(1.0) == []
    locked = False
    os.utime(path)
    assert names(poller.poll(2.0)) == ["a.fits"]


def test_a_file_renamed_into_place(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    (tmp_path / "a.fits.part").write_bytes(fits_bytes())
    assert watched.look() == []
    (tmp_path / "a.fits.part").rename(tmp_path / "a.fits")
    assert names(watched.look()) == ["a.fits"]


def test_new_content_under_an_old_name_is_reported_again(tmp_path: Path) -> None:
    """Both ways: written over, and renamed over; the old one may have been there before the watch began."""
    path = tmp_path / "preview.fits"
    path.write_bytes(fits_bytes(1))
    watched = Watched(tmp_path)
    watched.look()
    for seed in (2, 3):
        path.write_bytes(fits_bytes(seed))
        os.utime(path, ns=(seed * 10**9, seed * 10**9))  # a clock set back: different is enough
        assert watched.look() == [], "of the same length: it may be half old, half new"
        events = watched.look(0.3)
        assert names(events) == ["preview.fits"]
        assert isinstance(events[0], FrameArrived) and events[0].again
    other = tmp_path / "x.tmp"
    other.write_bytes(fits_bytes(4))
    other.replace(path)
    assert names(watched.poller.look_at({str(path): True}, watched.now_s)) == ["preview.fits"]
    assert watched.look() == []


def test_a_file_written_over_in_place_is_not_reported_half_old(tmp_path: Path) -> None:
    path = tmp_path / "preview.fits"
    path.write_bytes(fits_bytes(1))
    watched = Watched(tmp_path)
    watched.look()
    blob = fits_bytes(2)
    with path.open("r+b", buffering=0) as file:
        for number, start in enumerate(range(0, len(blob), 2000)):
            file.write(blob[start : start + 2000])
            os.utime(path, ns=(number, number))
            assert watched.look(0.15) == []
    assert names(watched.look(0.21)) == ["preview.fits"]


def test_a_touched_or_extended_fits_is_the_same_image(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    path = tmp_path / "a.fits"
    path.write_bytes(fits_bytes())
    assert names(watched.look()) == ["a.fits"]
    os.utime(path, ns=(1, 1))
    assert watched.look() == []
    fits.append(path, np.arange(400.0, dtype=np.float32).reshape(20, 20))
    assert watched.look() == []


def test_padding_that_comes_late_is_no_new_image(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    blob, path = fits_bytes(), tmp_path / "a.fits"
    path.write_bytes(blob[: 2880 + 3200])
    assert watched.look() == []
    assert names(watched.look(1.1)) == ["a.fits"], "all pixels are there and the file is quiet"
    path.write_bytes(blob)
    assert watched.look() == []


def test_deleted_files_are_forgotten_while_pending_and_remembered_when_reported(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    pending, reported = tmp_path / "a.tif", tmp_path / "b.fits"
    pending.write_bytes(b"II*\0")
    reported.write_bytes(fits_bytes())
    stamp = reported.stat().st_mtime_ns
    assert names(watched.look()) == ["b.fits"]
    pending.unlink()
    reported.unlink()
    assert watched.look(5.0) == []
    assert watched.poller.next_look_s() is None
    reported.write_bytes(fits_bytes())
    os.utime(reported, ns=(stamp, stamp))
    assert watched.look() == [], "the same content come back is nothing new"
    reported.write_bytes(fits_bytes(9, size=60))
    assert names(watched.look()) == ["b.fits"]


def test_the_folder_vanishes_and_comes_back_without_losing_its_memory(tmp_path: Path) -> None:
    folder, away = tmp_path / "frames", tmp_path / "away"
    folder.mkdir()
    (folder / "old.fits").write_bytes(fits_bytes())
    watched = Watched(folder)
    watched.look()
    folder.rename(away)
    lost = watched.look()
    assert len(lost) == 1 and isinstance(lost[0], FolderLost) and lost[0].reason
    assert watched.look() == [], "said once"
    assert watched.poller.look_at({str(folder / "x.fits"): True}, watched.now_s) == []
    (away / "meanwhile.fits").write_bytes(fits_bytes(5))
    away.rename(folder)
    events = watched.look()
    assert events[0] == FolderBack(folder)
    assert names(events) == ["meanwhile.fits"]


def test_a_share_that_drops_and_leaves_an_empty_mount_point(tmp_path: Path) -> None:
    (tmp_path / "old.fits").write_bytes(fits_bytes())
    watched = Watched(tmp_path)
    watched.look()
    aside = tmp_path.parent / "aside.fits"
    shutil.move(tmp_path / "old.fits", aside)
    watched.poller._device = -1  # as if the folder were on another device than before
    lost = watched.look()
    assert isinstance(lost[0], FolderLost) and "empty disk" in lost[0].reason
    shutil.move(aside, tmp_path / "old.fits")
    assert watched.look() == [FolderBack(tmp_path)]


def test_a_folder_that_is_made_later_holds_new_frames_only(tmp_path: Path) -> None:
    folder = tmp_path / "tonight"
    watched = Watched(folder)
    assert isinstance(watched.look()[0], FolderLost)
    folder.mkdir()
    (folder / "first.fits").write_bytes(fits_bytes())
    events = watched.look()
    assert events[0] == FolderBack(folder) and names(events) == ["first.fits"]


def test_a_share_out_of_reach_at_the_start_still_gets_its_baseline(tmp_path: Path) -> None:
    folder = tmp_path / "share" / "frames"
    watched = Watched(folder)
    assert isinstance(watched.look()[0], FolderLost)
    away = tmp_path / "elsewhere"
    (away / "frames").mkdir(parents=True)
    (away / "frames" / "old.fits").write_bytes(fits_bytes())
    away.rename(tmp_path / "share")
    assert watched.look() == [FolderBack(folder), FolderReady(folder, 1)]


def add(folder: Path, name: str, seed: int = 1) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(fits_bytes(seed))
    return folder / name


def test_folders_by_date_are_followed_and_no_others(tmp_path: Path) -> None:
    watched, flat = Watched(tmp_path), Watched(tmp_path, followed=0)
    add(tmp_path / "2026-11-19" / "Orchard", "old.fits")
    assert watched.look() == [FolderReady(tmp_path, 1)] and flat.look() == [FolderReady(tmp_path, 0)]
    tonight = tmp_path / "2026-11-20" / "Orchard" / "sky"
    path = add(tonight, "x.fits", 2)
    add(tmp_path / "2026-11-20" / "flats", "flat.fits", 3)
    stranger = add(tmp_path / "another target", "other.fits", 4)
    assert names(watched.look()) == ["x.fits"]
    assert flat.look() == [] and flat.poller.look_at({str(path): True}, 2000.0) == []
    assert watched.poller.look_at({str(stranger): True}, 2000.0) == []
    add(tonight, "y.fits", 5)
    assert names(watched.poller.look_at({str(tonight / "y.fits"): True}, watched.now_s)) == ["y.fits"]
    survey = watched.poller.survey()
    assert survey.followed[0] == "2026-11-20" and survey.frames == 3
    assert survey.below == (("another target", 1),)


def test_the_newest_dates_are_followed_and_an_older_one_that_comes_up_is_old(tmp_path: Path) -> None:
    for day in range(1, 6):
        add(tmp_path / f"night 2026110{day}", "a.fits", day)
    watched = Watched(tmp_path)
    assert watched.look() == [FolderReady(tmp_path, 3)]
    assert watched.poller.survey().followed == ("night 20261105", "night 20261104", "night 20261103")
    assert watched.poller.survey().left_out == 2
    shutil.rmtree(tmp_path / "night 20261105")
    assert watched.look() == [], "frames of an earlier night are no news"
    add(tmp_path / "night 20261102", "b.fits", 9)
    assert names(watched.look()) == ["b.fits"]
    add(tmp_path / "night 20261106", "c.fits", 10)
    assert names(watched.look()) == ["c.fits"]


@pytest.mark.parametrize(
    ("name", "date"),
    [
        ("2026-11-20", (2026, 11, 20)),
        ("20261120", (2026, 11, 20)),
        ("session_2026.11.20_b", (2026, 11, 20)),
        ("20-11-2026", (2026, 11, 20)),
        ("2026", (2026,)),
        ("2026-11", (2026, 11)),
        ("07", (7,)),
        ("12345678", None),
        ("2026-13-20", None),
        ("field 7", None),
        ("frames", None),
    ],
)
def test_which_names_are_dates(name: str, date: tuple[int, ...] | None) -> None:
    assert date_in(name) == date


def test_no_more_folders_are_followed_than_can_be_looked_at(tmp_path: Path) -> None:
    for number in range(20):
        (tmp_path / "2026-11-20" / f"target {number:02d}").mkdir(parents=True)
    watched = Watched(tmp_path)
    watched.look()
    survey = watched.poller.survey()
    assert len(survey.followed) == 12 and survey.left_out == 9


def test_a_survey_tells_what_lies_there(tmp_path: Path) -> None:
    for name in ("a.ser", "b.ser", "notes.txt"):
        (tmp_path / name).touch()
    path = add(tmp_path, "old.fits")
    os.utime(path, (1.7e9, 1.7e9))
    watched = Watched(tmp_path)
    watched.look()
    survey = watched.poller.survey()
    assert survey.others == ((".ser", 2), (".txt", 1))
    assert (survey.frames, survey.newest_s) == (1, 1.7e9)


def test_a_folder_with_the_name_of_a_frame_is_none(tmp_path: Path) -> None:
    watched = Watched(tmp_path)
    watched.look()
    (tmp_path / "odd.fits").mkdir()
    assert watched.look() == [] and watched.look(60.0) == []


def test_thousands_of_old_files_are_checked_in_turn(tmp_path: Path) -> None:
    for number in range(1200):
        (tmp_path / f"{number:05d}.fits").touch()
    watched = Watched(tmp_path, looked_back=500, latest=10)
    assert watched.look() == [FolderReady(tmp_path, 1200)]
    (tmp_path / "00700.fits").write_bytes(fits_bytes())
    (tmp_path / "new.fits").write_bytes(fits_bytes(2))
    seen = [name for _ in range(4) for name in names(watched.look())]
    assert sorted(seen) == ["00700.fits", "new.fits"]


@pytest.mark.parametrize(
    ("suffix", "cut", "verdict"),
    [
        (".png", 0, Completeness.COMPLETE),
        (".png", 1, Completeness.INCOMPLETE),
        (".jpg", 0, Completeness.COMPLETE),
        (".jpg", 1, Completeness.UNKNOWN),
        (".tif", 0, Completeness.UNKNOWN),
    ],
)
def test_the_ends_of_pictures(tmp_path: Path, suffix: str, cut: int, verdict: Completeness) -> None:
    path = tmp_path / f"a{suffix}"
    Image.fromarray(np.full((20, 20), 7, np.uint8)).save(path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size - cut])
    assert inspect_frame(path, path.stat().st_size).verdict is verdict


def test_every_prefix_of_a_fits_file_is_unfinished(tmp_path: Path) -> None:
    blob, path = fits_bytes(size=20), tmp_path / "a.fits"
    compressed = tmp_path / "a.fits.fz"
    data = np.random.default_rng(3).integers(1, 4000, (64, 64)).astype(np.int16)
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(data)]).writeto(compressed)
    for whole, target in ((blob, path), (compressed.read_bytes(), compressed)):
        for length in range(0, len(whole), 37):
            target.write_bytes(whole[:length])
            assert inspect_frame(target, length).verdict is not Completeness.COMPLETE
        target.write_bytes(whole)
        assert inspect_frame(target, len(whole)).verdict is Completeness.COMPLETE


def test_calibration_frames_are_left_alone_with_a_date_or_without() -> None:
    names = ["2026-11-29 darks", "2026-11-29", "flats 20261129", "2026-11-28", "darks", "M 31"]
    assert to_follow(names, inside=True) == (["2026-11-29", "2026-11-28", "M 31"], [])
    assert to_follow(names, inside=False) == (["2026-11-29", "2026-11-28"], [])


@pytest.mark.parametrize(
    ("name", "followed"),
    [
        ("2026-11-29 Dark Sky Park", True),
        ("2026-11-29 Darkwater Flatts", True),
        ("2026-11-29 dark-site", True),
        ("2026-11-29 Flatford", True),
        ("2026-11-29_Darks_300s", False),
        ("2026-11-29 masterdark", False),
        ("2026-11-29 sky flats", False),
        ("2026-11-29 DarkFlats", False),
        ("20261129bias", False),
    ],
)
def test_a_place_whose_name_is_dark_or_flat_is_followed(name: str, followed: bool) -> None:
    assert bool(to_follow([name], inside=False)[0]) is followed


def dribble(path: Path, blob: bytes, watched: Watched, seconds: float) -> list[str]:
    """The file grows by as many pieces as there are looks; what is reported before the last one."""
    looks = round(seconds / 0.5)
    cuts = [len(blob) * n // looks for n in range(looks + 1)]
    early: list[str] = []
    with path.open("wb", buffering=0) as file:
        for start, end in itertools.pairwise(cuts):
            early += names(watched.look(0.5))
            file.write(blob[start:end])
    return early


@pytest.mark.parametrize("seconds", [20.0, 60.0])
@pytest.mark.parametrize("name", ["a.fits", "a.png"])
def test_a_frame_dribbled_by_a_slow_link_is_reported_once(tmp_path: Path, name: str, seconds: float) -> None:
    """As the window watches, in its own times; a file may take longer than an unfinished one is waited for."""
    watched = Watched(tmp_path, **WatchSettings().__dict__)
    watched.look()
    stream = io.BytesIO()
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (200, 200), dtype=np.uint8)).save(stream, "png")
    blob = fits_bytes(1, 400) if name.endswith("fits") else stream.getvalue()
    assert dribble(tmp_path / name, blob, watched, seconds) == []
    events = [event for _ in range(60) for event in watched.look(0.5)]
    assert names(events) == [name]
    assert isinstance(events[0], FrameArrived) and events[0].complete and events[0].size_bytes == len(blob)


def test_a_frame_cut_short_and_written_again_is_reported_with_its_new_content(tmp_path: Path) -> None:
    path = tmp_path / "a.fits"
    watched = Watched(tmp_path, **WatchSettings().__dict__)
    watched.look()
    path.write_bytes(fits_bytes(1, 400))
    assert names(watched.look(0.5) + watched.look(0.5)) == ["a.fits"]
    os.truncate(path, 4000)
    assert names([event for _ in range(10) for event in watched.look(0.5)]) == [], "half a frame is none"
    assert dribble(path, fits_bytes(2, 400), watched, 5.0) == []
    events = [event for _ in range(60) for event in watched.look(0.5)]
    assert names(events) == ["a.fits"] and isinstance(events[0], FrameArrived) and events[0].complete
