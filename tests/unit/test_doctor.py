"""The doctor: what it finds, what it says, its exit codes, and what its bundle keeps to itself."""

from __future__ import annotations

import json
import logging
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from iso_time import utc_from_iso
from polewright.__main__ import main
from polewright.commands import doctor
from polewright.services import diagnostics
from polewright.services.catalogue_format import CHECKSUM_NAME, FILE_NAME
from polewright.services.clock import VirtualClock
from polewright.services.diagnostics import Check, State
from polewright.services.layer_file import write_layer
from polewright.services.privacy import LEFT_OUT, Privacy
from polewright.services.profiles import RIGS
from polewright.services.program_log import LOG, LOG_NAME, log_tail, log_to
from polewright.services.recorder import NightRecorder
from polewright.services.resources import find_resource
from polewright.services.support_bundle import night_tail
from small_layer import small_layer

LAT, LON = 52.3471, 3.0188


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("POLEWRIGHT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(doctor, "check_window", lambda: [Check("screen", State.NOTE, "not looked at here.")])
    return tmp_path / "home"


def record_a_night(home: Path) -> None:
    """A night as the program writes it, of an invented site, with everything private in it."""
    night = NightRecorder(home / "data" / "nights" / "2026-11-20", VirtualClock(utc_from_iso("2026-11-20T20:00:00")))
    site = {"kind": "Site", "lat_deg": LAT, "lon_deg": LON, "elev_m": 84.0}
    night.record("event", {"kind": "NightStarted", "at_s": 0.0, "site": site, "pole_altitude_rad": 0.9138})
    enu = [[-0.92, -0.28, 0.27], [0.27, -0.96, -0.08], [0.28, -0.01, 0.96]]
    frame = {"kind": "PlacedFrame", "name": "a.fits", "camera_to_enu": enu, "tomorrows_field": LAT}
    night.record("event", {"kind": "FrameSolved", "at_s": 5.0, "frame": frame})
    night.record("fault", {"where": "solving", "error": "ValueError('latitude 52.3471 of /home/observer/a.fits')"})
    assert night.close()


def test_a_sound_installation_is_well(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["doctor", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["well"] is True and facts["libraries"]["numpy"]
    by_name = {check["name"]: check for check in facts["checks"]}
    assert by_name["star catalogue"]["state"] == "well"
    assert by_name["last night"]["state"] == "note"
    assert not home.exists(), "looking changes nothing"


def test_one_line_a_check_and_a_cure_where_one_is_needed(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ill = Check("free space", State.ILL, "0.1 GB free for nights and frames.", "Make room.")
    monkeypatch.setattr(diagnostics, "check_room", lambda folder: ill)
    assert main(["doctor"]) == 3
    lines = capsys.readouterr().out.splitlines()
    cures = [line for line in lines if "do this:" in line]
    assert len(cures) == 1 and "Make room." in cures[0]
    assert lines[lines.index(cures[0]) - 1].startswith("CURE  free space")
    assert lines[-1].startswith("1 of ") and lines[-1].endswith("need a cure.")


def test_a_damaged_catalogue_is_named_with_its_repair(tmp_path: Path) -> None:
    sound = find_resource(FILE_NAME)
    assert sound is not None
    damaged = bytearray(sound.read_bytes())
    damaged[5_000_000] ^= 1
    (tmp_path / FILE_NAME).write_bytes(damaged)
    shutil.copy(sound.with_name(CHECKSUM_NAME), tmp_path)
    check, checksum = diagnostics.check_catalogue(tmp_path / FILE_NAME)
    assert check.state is State.ILL and "checksum" in check.fact and "install" in check.cure and checksum == ""
    missing, _ = diagnostics.check_catalogue(tmp_path / "no.fits")
    assert missing.state is State.ILL and missing.cure


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a person whose folders can be read-only")
def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    check = diagnostics.check_folder("nights folder", tmp_path / "nights")
    tmp_path.chmod(0o700)
    assert check.state is State.ILL and "POLEWRIGHT_HOME" in check.cure


def test_a_file_where_a_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "nights").write_text("not a folder")
    check = diagnostics.check_folder("nights folder", tmp_path / "nights" / "deeper")
    assert check.state is State.ILL and str(tmp_path / "nights") in check.fact and check.cure


def test_little_room_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage._replace(free=50_000_000))
    assert diagnostics.check_room(tmp_path / "not" / "there").state is State.ILL


def test_missing_libraries_and_a_qt_that_aborts() -> None:
    versions: dict[str, str | None] = dict.fromkeys(diagnostics.LIBRARIES, "1.0")
    versions["PySide6-Essentials"] = "6.11.3"
    assert diagnostics.check_libraries(versions).state is State.WELL
    assert "sep" in diagnostics.check_libraries({**versions, "sep": None}).fact
    newer = diagnostics.check_libraries({**versions, "PySide6-Essentials": "6.12.0"})
    assert newer.state is (State.ILL if sys.version_info < (3, 12) else State.WELL)


def test_damaged_profiles_are_named_and_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "rigs"
    folder.mkdir()
    (folder / "bad.json").write_text("{")
    (folder / "newer.json").write_text(json.dumps({"format": RIGS.format, "version": 99}))
    (folder / "good.json").write_text(json.dumps({"format": RIGS.format, "version": 1, "name": "Guide scope"}))
    check = diagnostics.check_profiles("rigs", tmp_path, RIGS)
    assert check.state is State.ILL and "bad.json" in check.fact and "newer.json" in check.fact
    assert "good" not in check.fact
    assert sorted(path.name for path in folder.iterdir()) == ["bad.json", "good.json", "newer.json"]


def test_the_index_is_checked_to_the_last_byte(tmp_path: Path) -> None:
    checksum = "ab" * 32
    assert diagnostics.check_index(tmp_path, checksum).state is State.NOTE
    path = tmp_path / "stars-abababababab-layer-00.index"
    layer = small_layer(6000)
    with path.open("wb") as out:
        write_layer(out, layer, checksum)
    assert diagnostics.check_index(tmp_path, checksum).state is State.WELL
    content = bytearray(path.read_bytes())
    content[-120_000] ^= 1  # the middle of the last array, which is not looked at when a night begins
    path.write_bytes(content)
    check = diagnostics.check_index(tmp_path, checksum)
    assert check.state is State.ILL and path.name in check.fact and "Delete" in check.cure
    (tmp_path / "stars-x.part").write_bytes(bytes(100))
    path.unlink()
    assert ".part" in diagnostics.check_index(tmp_path, checksum).cure
    (tmp_path / "stars-x.part").unlink()
    with path.open("wb") as out:
        write_layer(out, layer, "cd" * 32)
    assert diagnostics.check_index(tmp_path, checksum).state is State.NOTE


def test_a_torn_night_is_a_note_and_a_foreign_one_an_illness(home: Path) -> None:
    record_a_night(home)
    nights = home / "data" / "nights"
    assert diagnostics.check_last_night(nights).state is State.WELL
    log = nights / "2026-11-20" / "night.jsonl"
    log.write_bytes(log.read_bytes()[:-10])
    assert "torn" in diagnostics.check_last_night(nights).fact


def test_the_bundle_leaves_out_what_is_private(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    record_a_night(home)
    monkeypatch.setattr(doctor, "own_privacy", lambda: Privacy(str(home), ("mira", "mountbox")))
    handler = log_to(home / "data" / "log")
    assert handler is not None
    LOG.error("fault: %s/frames of mira on mountbox, SITELONG= 3.0188, lat 52.3471", home)
    LOG.removeHandler(handler)
    handler.close()
    out = tmp_path / "bundle.zip"
    assert main(["doctor", "--out", str(out)]) == 0
    assert "leaves out where you observe" in capsys.readouterr().out
    with zipfile.ZipFile(out) as bundle:
        texts = {name: bundle.read(name).decode() for name in bundle.namelist()}
    assert set(texts) == {"READ-ME.txt", "doctor.txt", "doctor.json", "program.log", "night.jsonl"}
    everything = "\n".join(texts.values())
    for secret in (str(home), "mira", "mountbox", "52.34", "3.01", "0.9138", "-0.92", "84.0", "2461"):
        assert secret not in everything, secret
    assert "fault" in texts["program.log"] and "FrameSolved" in texts["night.jsonl"] and "a.fits" in everything
    assert json.loads(texts["doctor.json"])["well"] is True
    assert len(texts["night.jsonl"].splitlines()) == 3


def test_the_bundle_tells_the_place_when_asked(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record_a_night(home)
    out = tmp_path / "bundle.zip"
    assert main(["doctor", "--out", str(out), "--with-location"]) == 0
    assert "says where you observe" in capsys.readouterr().out
    with zipfile.ZipFile(out) as bundle:
        assert str(LAT) in bundle.read("night.jsonl").decode()
        assert "--with-location" in bundle.read("READ-ME.txt").decode()


def test_a_bundle_that_cannot_be_written_is_a_usage_error(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["doctor", "--out", str(tmp_path / "no" / "b.zip")]) == 2
    assert "choose another place" in capsys.readouterr().err


def test_unknown_names_are_private_until_listed() -> None:
    privacy = Privacy("/home/observer", ("mira",))
    recorded = privacy.recorded({"kind": "New", "zenith_icrs": [1.0, 2.0], "frame": {"name": "x", "sky": 3.0}})
    assert recorded == {"kind": "New", "zenith_icrs": LEFT_OUT, "frame": {"name": "x", "sky": LEFT_OUT}}
    assert privacy.recorded([1.5, None, True, "/home/observer/x"]) == [1.5, None, True, "~/x"]


def test_names_are_left_out_as_words_only() -> None:
    privacy = Privacy("", ("al", ""))
    assert privacy.text("Al turned the altitude screw; al's mount") == (
        f"{LEFT_OUT} turned the altitude screw; {LEFT_OUT}'s mount"
    )


def test_a_night_that_is_none_is_told_in_the_bundle(tmp_path: Path) -> None:
    assert night_tail(tmp_path, None) == ""
    (tmp_path / "2026-01-01").mkdir()
    (tmp_path / "2026-01-01" / "night.jsonl").mkdir()
    assert "unreadable" in json.loads(night_tail(tmp_path, Privacy("")))


def test_the_log_rotates_and_its_tail_has_whole_lines(tmp_path: Path) -> None:
    assert log_tail(tmp_path) == ""
    (tmp_path / LOG_NAME).write_text("".join(f"line {number}\n" for number in range(1000)))
    tail = log_tail(tmp_path, 100)
    assert tail.endswith("line 999\n") and all(line.startswith("line ") for line in tail.splitlines())
    (tmp_path / "blocked").write_text("")
    assert log_to(tmp_path / "blocked") is None


def test_a_fault_of_a_command_is_logged_and_shown(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(args: object) -> int:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(doctor, "run", broken)
    LOG.setLevel(logging.INFO)
    with pytest.raises(ZeroDivisionError):
        main(["doctor"])
    assert "ZeroDivisionError: a bug" in log_tail(home / "data" / "log")


def test_what_qt_finds_is_judged() -> None:
    screen = {"width_px": 1920, "height_px": 1080, "scale": 1.0, "dots_per_inch": 157.4, "hertz": 60.0}
    found = {"qt": "6.11.3", "desktop": "xcb", "screens": [screen], "sound_outputs": 0, "voices": []}
    checks = {check.name: check for check in doctor.window_checks(found)}
    assert checks["screen"].state is State.WELL and "1920 x 1080" in checks["screen"].fact
    assert checks["sound"].state is State.NOTE and checks["voice"].state is State.NOTE


def test_a_qt_that_aborts_takes_nobody_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "_own_command", lambda: [sys.executable, "-c", "import os; os.abort()"])
    (check,) = doctor.check_window()
    assert check.state is State.ILL and "cannot open a window" in check.fact and check.cure


def test_qt_is_asked_in_a_process_of_its_own() -> None:
    """The whole way, on Qt's offscreen platform."""
    done = subprocess.run(doctor._own_command(), capture_output=True, text=True, check=True, timeout=100)
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["desktop"] == "offscreen" and found["screens"]
