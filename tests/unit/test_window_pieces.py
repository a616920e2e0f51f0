"""What stands between the window and the night, piece by piece: the form, what is remembered, rigs, pictures."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from night_kit import unsolved_frame
from polewright.core.errors import RecordingError, SettingsError
from polewright.core.model import Site
from polewright.core.screws.angles import Screw
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory, ScrewMove
from polewright.core.sky.weather import Weather, air_at
from polewright.services.file_lock import FileLock
from polewright.services.frame_reader import FRAME_SUFFIXES
from polewright.services.measuring import Optics
from polewright.services.profile_store import Loaded, ProfileStore
from polewright.services.profiles import RIGS
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui.driving.first_frame import learned, look_into
from polewright.ui.driving.form import (
    FIELDS,
    Known,
    angle_of,
    form_view,
    number_text,
    optics_of,
    scale_of,
    site_of,
    weather_of,
    without_site,
)
from polewright.ui.driving.night_files import export_night
from polewright.ui.driving.proposals import optics_name
from polewright.ui.driving.remembered import Remembered, recall, remember
from polewright.ui.driving.replay_track import StoppedError, load_track
from polewright.ui.driving.resuming import resumable
from polewright.ui.driving.rig import (
    Chosen,
    RigOutlets,
    chosen,
    from_rig,
    from_site,
    known_profiles,
    knows,
    rig_and_site,
    rig_note,
    with_names,
)
from polewright.ui.folder_listing import list_folder
from polewright.ui.intents import FillForm
from polewright.ui.keys import FORM_KEYS, FORM_WINDOW_KEYS, plan_keys
from polewright.ui.presenting.picture import picture_of, step_for, stretched
from polewright.ui.screen import screen_here
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light
from polewright.ui.view_model import FramePicture
from sky_solver import shared_catalogue
from window_in_virtual_time import virtual_clock

# the form


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("52.35", 52.35),
        ("52,35", 52.35),
        ("-33.9", -33.9),
        ("−33.9", -33.9),
        ("33.9 S", -33.9),
        ("52° 21′ N", 52.35),
        ("52 21 00", 52.35),
        ("-0 30", -0.5),
        ("0° 30′ 36″ S", -0.51),
    ],
)
def test_angles_as_people_write_them(text: str, degrees: float) -> None:
    assert angle_of(text, "NS", 90.0) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize("text", ["", "north", "91", "52 61", "52 -10", "1 2 3 4", "nan", "inf", "9.8 E"])
def test_what_is_no_latitude_is_none(text: str) -> None:
    assert angle_of(text, "NS", 90.0) is None


def test_a_form_says_what_is_wrong_and_when_it_is_ready() -> None:
    empty = Known()
    assert site_of(empty) == ""
    assert not form_view(empty, "").ready
    good = Known("52.35", "350", "80", folder="/frames")
    assert site_of(good) == Site(52.35, pytest.approx(-10.0), 80.0)  # type: ignore[arg-type]
    assert form_view(good, "").ready
    assert form_view(good, "").optics_from == "may be left empty: the stars give the scale"
    assert not form_view(good, "This folder does not exist.").ready
    assert isinstance(optics_of(Known(focal_length="0")), str)
    assert optics_of(Known(focal_length="240", pixel_size="4,5")) == Optics(240.0, 4.5)
    assert isinstance(site_of(Known("52", "9", "9999")), str)


@pytest.mark.parametrize(("value", "digits", "text"), [(240.0, 0, "240"), (4.25, 3, "4.25"), (-0.0, 0, "0")])
def test_numbers_keep_the_zeros_that_count(value: float, digits: int, text: str) -> None:
    assert number_text(value, digits) == text


def test_what_was_typed_is_not_overwritten_by_a_header(tmp_path: Path) -> None:
    rig = SimulatedRig(SCENARIOS["calm"], 3, shared_catalogue())
    rig.write_frame(tmp_path, rig.night.start, 1.0)
    look = look_into(str(tmp_path))
    assert look.frame is not None
    typed = Known().filled(FillForm("51.0", "8.0", "", "", "", str(tmp_path)))
    known = learned(typed, look.frame)
    assert (known.latitude, known.longitude) == ("51.0", "8.0")
    assert (known.focal_length, known.pixel_size) == ("240", "5")
    assert known.site_from.startswith("as you typed it; the rest from FITS header")
    assert learned(Known(), look.frame).latitude == "52.3"
    silent = replace(look.frame, temperature_c=None, pressure_hpa=None)
    earlier = replace(typed, temperature="21", pressure="990", typed=typed.typed | {"pressure"})
    known = learned(earlier, silent)
    assert (known.temperature, known.pressure) == ("", "990"), "an earlier folder's header tells nothing of tonight"


def test_looking_into_folders_that_are_none(tmp_path: Path) -> None:
    assert look_into(str(tmp_path / "nowhere")).problem.startswith("There is no folder nowhere")
    file = tmp_path / "a.fits"
    file.write_bytes(b"SIMPLE  = half a header")
    assert look_into(str(file)).problem.startswith("a.fits is not a folder")
    look = look_into(str(tmp_path))  # a damaged frame is no problem of the folder
    assert look.problem == "" and look.frame is None


@pytest.mark.parametrize("suffix", sorted(FRAME_SUFFIXES))
def test_the_folder_page_counts_every_kind_of_frame_that_can_be_read(tmp_path: Path, suffix: str) -> None:
    (tmp_path / f"Frame-1{suffix.upper()}").write_bytes(b"x")
    (tmp_path / "backup.tar.gz").write_bytes(b"no frame")
    assert list_folder(tmp_path).frames == 1


# what is remembered


def test_settings_and_form_come_back(tmp_path: Path) -> None:
    what = Remembered(WindowSettings(Light.RED, 0.4, True, False), Known("52.3", "9.8", "80", "240", "5", "/f"), "/n")
    remember(tmp_path / "new", what)
    again = recall(tmp_path / "new")
    assert again.settings == what.settings
    assert again.open_night == "/n"
    assert (again.form.latitude, again.form.folder, again.form.site_from) == ("52.3", "/f", "as last time")
    assert again.form.typed == frozenset()


@pytest.mark.parametrize("content", ["", "{}", "[1]", '{"settings": {"light": "green"}}', "\x00"])
def test_a_damaged_settings_file_is_set_aside(tmp_path: Path, content: str) -> None:
    (tmp_path / "window.json").write_text(content, encoding="utf-8")
    found = recall(tmp_path)
    assert replace(found, problem="") == Remembered() and "window.json.damaged-1" in found.problem
    assert [p.name for p in tmp_path.iterdir()] == ["window.json.damaged-1"]


def test_settings_that_cannot_be_saved_are_an_error_with_a_reason(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SettingsError, match="cannot be saved"):
        remember(tmp_path / "file", Remembered())


# rigs and sites


def test_a_rig_remembers_its_screws_from_night_to_night(tmp_path: Path) -> None:
    site, optics = Site(52.3, 3.0, 80.0), Optics(240.0, 5.0)
    first = rig_and_site(tmp_path, Chosen(site, optics))
    assert first.azimuth.prior is None and first.problem == ""
    outlets = RigOutlets(tmp_path, first.stored)
    moves = tuple(ScrewMove(0.5, 30.0 * i, 30.0 * (i + 1), 0.1) for i in range(4))
    outlets.save_screw(Screw.AZIMUTH, ScrewMemory(None, moves))
    outlets.save_screw(Screw.AZIMUTH, ScrewMemory(None, moves[:3]))  # twice in one night: still one night
    second = rig_and_site(tmp_path, Chosen(Site(52.301, 3.001, 90.0), Optics(241.0, 5.0)))
    prior = second.azimuth.prior
    assert prior is not None
    assert prior.arcmin_per_turn == pytest.approx(60.0, rel=0.1)
    assert prior.nights == 1
    assert second.altitude.prior is None and second.altitude.bends
    assert second.rig_name == first.rig_name and second.site_name == first.site_name
    known = known_profiles(tmp_path)
    assert len(known.sites) == len(known.rigs) == 1
    form = from_rig(from_site(Known(), known.sites[0]), known.rigs[0])
    assert (form.latitude, form.focal_length, form.pixel_size) == ("52.301", "240", "5")
    assert form.optics_from == "known rig 240 mm, 5 µm pixels"


def test_the_profiles_of_each_kind_are_read_once_for_a_night(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    what = Chosen(Site(52.3, 3.0), Optics(240.0, 5.0))
    rig_and_site(tmp_path, what)
    read: list[str] = []
    load_all = ProfileStore.load_all

    def counted(store: ProfileStore[Any]) -> Loaded[Any]:
        read.append(store._kind.folder)
        return load_all(store)

    monkeypatch.setattr(ProfileStore, "load_all", counted)
    rig_and_site(tmp_path, what)
    assert sorted(read) == ["rigs", "sites"]


def test_two_mounts_with_the_same_optics_never_share_what_they_know(tmp_path: Path) -> None:
    site, optics = Site(52.3, 3.0, 80.0), Optics(240.0, 5.0)
    moves = tuple(ScrewMove(0.5, 30.0 * i, 30.0 * (i + 1), 0.1) for i in range(4))
    old = rig_and_site(tmp_path, Chosen(site, optics, rig_name="old mount"), "2026-11-18T20:00:00Z")
    RigOutlets(tmp_path, old.stored).save_screw(Screw.AZIMUTH, ScrewMemory(None, moves))
    RigOutlets(tmp_path, old.stored).save_locks(LockMemory(tonight=((0.0, 1.0),)))
    new = rig_and_site(tmp_path, Chosen(site, optics, rig_name="new mount"), "2026-11-19T20:00:00Z")
    assert new.azimuth == ScrewMemory() and new.locks == NEW_LOCKS
    assert rig_and_site(tmp_path, Chosen(site, optics, rig_name="old mount")).azimuth.prior is not None
    profiles = known_profiles(tmp_path)
    known = with_names(Known(latitude="52.3", longitude="3", focal_length="240", pixel_size="5"), profiles)
    assert known.rig_name == "new mount", "the one used last is proposed, and can be seen"
    assert rig_note(known, profiles).endswith("2 rigs look alike: Ctrl+2")
    told = {rig.name: knows(rig) for rig in profiles.rigs}
    assert told["old mount"].startswith("azimuth 60′ a turn") and "2026-11-18" in told["old mount"]
    assert told["new mount"] == "its screws are not known yet; last used 2026-11-19"
    fresh = with_names(replace(known, focal_length="400"), profiles)
    assert fresh.rig_name == "400 mm, 5 µm pixels" and rig_note(fresh, profiles).startswith("a new rig")
    named = known.filled(replace(fill(known), rig_name="third mount"))
    assert with_names(named, profiles).rig_name == "third mount", "what was typed stays"


def test_a_save_that_met_another_windows_costs_that_save_only(tmp_path: Path) -> None:
    stored = rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), Optics(240.0, 5.0))).stored
    ours, theirs = RigOutlets(tmp_path, stored), RigOutlets(tmp_path, stored)
    theirs.save_locks(LockMemory(tonight=((0.0, 1.0),)))
    with pytest.raises(SettingsError, match="another window"):
        ours.save_locks(LockMemory(tonight=((0.0, 2.0),)))
    ours.save_locks(LockMemory(tonight=((0.0, 3.0),)))
    again = rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), Optics(240.0, 5.0)))
    assert again.locks.nights == LockMemory(tonight=((0.0, 3.0),)).for_next_night().nights != ()


def fill(known: Known) -> FillForm:
    return FillForm(**{name: getattr(known, name) for name in FIELDS})


def test_what_the_air_was_is_kept_with_the_site_and_believed_on_no_other_night(tmp_path: Path) -> None:
    known = Known(latitude="47", longitude="11", elevation="1200", temperature="-8", pressure="880")
    what = chosen(known)
    assert what is not None and what.weather == Weather(-8.0, 880.0)
    rig_and_site(tmp_path, replace(what, site_name="Pass"))
    (site,) = known_profiles(tmp_path).sites
    assert (site.temperature_c, site.pressure_hpa) == (-8.0, 880.0)
    form = from_site(Known(), site)
    assert (form.temperature, form.pressure, form.site_name) == ("", "", "Pass")
    tonight = from_site(Known().filled(FillForm(temperature="4")), site)
    assert tonight.temperature == "4", "what was typed tonight stays"
    rig_and_site(tmp_path, Chosen(site.site, what.optics, site_name="Pass"))
    assert known_profiles(tmp_path).sites == (site,), "a night that goes on states nothing anew"
    remember(tmp_path, Remembered(form=known))
    settings = json.loads((tmp_path / "window.json").read_text())
    settings["form"] |= {"temperature": "-8", "pressure": "880"}  # as it was written once
    (tmp_path / "window.json").write_text(json.dumps(settings))
    again = recall(tmp_path).form
    assert (again.latitude, again.temperature, again.pressure) == ("47", "", "")
    assert weather_of(without_site(known)) == Weather()
    assert air_at(site.site, what.weather).pressure_hpa == 880.0


@pytest.mark.parametrize(
    ("temperature", "pressure", "problem"),
    [
        ("cold", "", "The temperature lies"),
        ("", "2000", "The air pressure lies"),
        ("", "1013", "At 1200 m the air pressure is about"),
        ("", "940", "At 1200 m the air pressure is about"),  # 7 % above the usual 877 hPa
    ],
)
def test_impossible_weather_is_refused_with_a_reason(temperature: str, pressure: str, problem: str) -> None:
    known = Known(latitude="47", longitude="11", elevation="1200", temperature=temperature, pressure=pressure)
    assert str(weather_of(known)).startswith(problem)
    assert form_view(replace(known, folder="x"), "").lacking.startswith(problem)


def test_a_chosen_folder_is_not_asked_for_again() -> None:
    """It may hold nothing yet: then the next frame may tell the site."""
    assert "choose a folder" in form_view(Known(), "").lacking
    assert form_view(Known(folder="x"), "").lacking == (
        "The latitude is missing: type it, unless the next frame states it."
    )


@pytest.mark.parametrize("focal_mm", [2.8, 6.3, 14.5, 50.4, 240.0, 2031.6])
@pytest.mark.parametrize("pixel_um", [1.55, 2.9, 3.76, 9.0])
def test_the_top_bar_and_the_row_of_the_scale_agree(focal_mm: float, pixel_um: float) -> None:
    """A rig without a name of its own is called by its optics, whose ratio times 206.265 is the scale."""
    known = Known(focal_length=str(focal_mm), pixel_size=str(pixel_um))
    focal, pixel = (float(part) for part in re.findall(r"[\d.]+", optics_name(Optics(focal_mm, pixel_um))))
    assert 206.265 * pixel / focal == pytest.approx(scale_of(known), rel=0.01)


def test_a_damaged_rig_costs_its_memory_only(tmp_path: Path) -> None:
    optics = Optics(240.0, 5.0)
    stored = rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), optics)).stored
    assert stored is not None
    store = ProfileStore(tmp_path, RIGS)
    (rig,) = store.load_all().profiles
    from dataclasses import replace

    store.save(rig, replace(rig.profile, screws={"azimuth": {"kind": "ScrewMemory", "moves": 7}}))
    assert rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), optics)).azimuth == ScrewMemory()


def test_profiles_on_a_disk_that_refuses_leave_the_night_alone(tmp_path: Path) -> None:
    (tmp_path / "sites").write_text("", encoding="utf-8")
    found = rig_and_site(tmp_path, Chosen(Site(-30.9, 156.0), Optics()))
    assert found.stored is None and "cannot be saved" in found.problem
    assert found.site_name == "30.90° S, 156.00° E" and found.rig_name == "unknown camera"
    RigOutlets(tmp_path, None).save_screw(Screw.ALTITUDE, ScrewMemory())


# recordings


def test_a_night_that_is_no_more_is_not_taken_up(tmp_path: Path) -> None:
    now = virtual_clock().utc()
    assert not resumable(tmp_path / "gone", now).fresh
    night = tmp_path / "night"
    night.mkdir()
    (night / "night.jsonl").write_bytes(b"torn")
    assert not resumable(night, now).fresh
    lock = FileLock(night / ".lock")
    assert lock.take()
    assert "open in another window" in resumable(night, now).problem
    lock.free()


def test_writing_out_what_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="cannot be read"):
        export_night(tmp_path / "gone")


def test_loading_a_recording_can_be_stopped(tmp_path: Path) -> None:
    from night_kit import rehearsed

    (tmp_path / "night.jsonl").write_bytes(rehearsed("calm", 3).blob)
    heard: list[float] = []

    def progress(fraction: float) -> bool:
        heard.append(fraction)
        return len(heard) < 3

    with pytest.raises(StoppedError):
        load_track(tmp_path, progress)
    assert heard == sorted(heard) and len(heard) == 3
    track = load_track(tmp_path)
    assert [m.t_s for m in track.moments] == sorted(m.t_s for m in track.moments)
    assert track.index_at(-5.0) == 0 and track.index_at(1e9) == len(track.moments) - 1
    assert track.moments[-1].state.proved
    assert len(track.questions) >= 4 and all(q.t_s <= track.length_s for q in track.questions)


# the picture


def sky(kind: type, shape: tuple[int, int] = (96, 128)) -> np.ndarray:
    rng = np.random.default_rng(1)
    pixels = rng.normal(400.0, 12.0, shape)
    pixels[40:42, 60:62] = 30000.0
    return (pixels / 130.0 if kind is np.uint8 else pixels).clip(0).astype(kind)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
@pytest.mark.parametrize("every", [1, 2, 3])
def test_sky_is_dark_grey_and_stars_are_bright_at_any_depth(kind: type, every: int) -> None:
    picture = stretched(sky(kind), every)
    assert picture.dtype == np.uint8
    assert picture.shape == (96 // every, 128 // every)
    assert 15 <= np.median(picture) <= 90
    y, x = np.unravel_index(np.argmax(picture), picture.shape)
    assert abs(y - 40.5 / every) <= 1.0 and abs(x - 60.5 / every) <= 1.0
    assert picture.max() >= 200


def test_a_full_frame_does_not_wrap_around() -> None:
    pixels = np.full((64, 64), 65535, dtype=np.uint16)
    pixels[:32] = 100
    picture = stretched(pixels, 2)
    assert picture[20, 10] > picture[5, 10]


def test_an_even_frame_is_no_trouble() -> None:
    assert stretched(np.zeros((32, 32), dtype=np.uint16), 2).shape == (16, 16)
    assert stretched(np.full((32, 32), 5.0, dtype=np.float32), 1).shape == (32, 32)


@pytest.mark.parametrize(("width", "every"), [(640, 1), (1000, 1), (1280, 2), (2000, 2), (6000, 6)])
def test_pictures_are_at_most_a_thousand_wide(width: int, every: int) -> None:
    assert step_for(width) == every and width // every <= 1000


def test_a_frame_without_stars_has_a_picture_too() -> None:
    picture = picture_of(unsolved_frame("dark.fits"))
    assert isinstance(picture, FramePicture)
    assert (picture.stars_text, picture.width_text) == ("no stars", "no width")
    assert picture.stars_px.shape == (0, 2)


# the screen


def test_a_screen_is_looked_for_before_qt_is(tmp_path: Path) -> None:
    assert screen_here("win32", {}) and screen_here("darwin", {})
    assert screen_here("linux", {"QT_QPA_PLATFORM": "offscreen"})
    assert not screen_here("linux", {})
    assert not screen_here("linux", {"DISPLAY": ":4711"})
    assert not screen_here("linux", {"WAYLAND_DISPLAY": "wayland-9", "XDG_RUNTIME_DIR": str(tmp_path)})
    assert screen_here("linux", {"DISPLAY": "station:10.0"})


def test_every_page_names_a_key_once() -> None:
    """Keys are named in ui/keys.py; on one page none of them may mean two things."""
    for pairs in (FORM_KEYS + FORM_WINDOW_KEYS, plan_keys()):
        keys = [key for key, _ in pairs]
        assert len(keys) == len(set(keys)), keys
