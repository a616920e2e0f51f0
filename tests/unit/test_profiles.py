"""Profiles of rigs and sites: kept, merged, migrated, set aside; never lost."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from polewright.core.errors import SettingsError
from polewright.core.model import Site, TargetPole
from polewright.services import profile_store
from polewright.services.profile_store import ProfileStore, file_stem
from polewright.services.profiles import RIGS, SITES, ProfileKind, RigProfile, SiteProfile

RIG = RigProfile(
    "Balcony rig", 240.0, 5.0, TargetPole.REFRACTED, "spare camera", {"azimuth": {"arcmin_per_turn": 39.0}}
)


def rigs(root: Path) -> ProfileStore[RigProfile]:
    return ProfileStore(root, RIGS)


def test_several_of_each_come_back(tmp_path: Path) -> None:
    store, sites = rigs(tmp_path), ProfileStore(tmp_path, SITES)
    store.add(RIG)
    store.add(RigProfile("another"))
    sites.add(SiteProfile("Hill", Site(47.5, -11.25, 650.0), "park by the chapel"))
    loaded = store.load_all()
    assert [stored.profile for stored in loaded.profiles] == [RigProfile("another"), RIG]
    assert loaded.messages == ()
    assert sites.load_all().profiles[0].profile.site == Site(47.5, -11.25, 650.0)
    text = (tmp_path / "rigs" / "balcony-rig.json").read_text("utf-8")
    assert '"focal_length_mm": 240.0' in text and f'"version": {RIGS.version}' in text
    assert ProfileStore(tmp_path / "nowhere", RIGS).load_all().profiles == ()


NUMBERS = st.none() | st.floats(2.0, 100.0)


@settings(max_examples=40, deadline=None)
@given(st.text(min_size=1, max_size=30).filter(str.strip), NUMBERS, NUMBERS, st.text(max_size=40))
def test_any_profile_comes_back(
    tmp_path_factory: pytest.TempPathFactory, name: str, focal: float | None, pixel: float | None, notes: str
) -> None:
    name, notes = (text.encode("utf-8", "ignore").decode("utf-8") for text in (name, notes))
    rig = RigProfile(name or "x", focal, pixel, None, notes, {"z": [1, 0.1, "ü"]})
    store = rigs(tmp_path_factory.mktemp("profiles"))
    if not rig.name.strip():
        return
    store.add(rig)
    assert store.load_all().profiles[0].profile == rig


def test_names(tmp_path: Path) -> None:
    assert file_stem("Zürich / Üetliberg!") == "zurich-uetliberg"
    assert file_stem("北極") == file_stem("北極") != file_stem("南極")
    assert file_stem("CON").startswith("profile-") and file_stem("lpt1").startswith("profile-")
    store = rigs(tmp_path)
    first, second = store.add(RigProfile("A b")), store.add(RigProfile("a B"))
    assert first.path != second.path
    with pytest.raises(SettingsError, match="already"):
        store.add(RigProfile("A b"))
    with pytest.raises(SettingsError, match="needs a name"):
        store.add(RigProfile(" "))


def test_saving_and_removing(tmp_path: Path) -> None:
    store = rigs(tmp_path)
    stored = store.add(RIG)
    saved = store.save(stored, replace(RIG, focal_length_mm=200.0))
    assert store.load(saved.path).profile.focal_length_mm == 200.0
    with pytest.raises(SettingsError, match="changed by another"):
        store.remove(stored)
    store.remove(saved)
    store.remove(saved)
    assert store.load_all().profiles == ()
    again = store.save(saved, RIG)
    assert store.load(again.path).profile == RIG, "saving brings back a file that is gone"


def test_two_windows_change_different_things(tmp_path: Path) -> None:
    one, other = rigs(tmp_path), rigs(tmp_path)
    seen_by_one = one.add(RIG)
    seen_by_other = other.load(seen_by_one.path)
    one.save(seen_by_one, replace(RIG, notes="new notes"))
    merged = other.save(seen_by_other, replace(RIG, screws={"azimuth": {"arcmin_per_turn": 40.0}}))
    assert merged.profile.notes == "new notes" and merged.profile.screws["azimuth"]["arcmin_per_turn"] == 40.0
    assert one.load(merged.path).profile == merged.profile


def test_two_windows_change_the_same_thing(tmp_path: Path) -> None:
    one, other = rigs(tmp_path), rigs(tmp_path)
    seen_by_one = one.add(RIG)
    seen_by_other = other.load(seen_by_one.path)
    one.save(seen_by_one, replace(RIG, focal_length_mm=200.0))
    other.save(seen_by_other, replace(RIG, focal_length_mm=200.0))  # the same change is no conflict
    seen_by_other = other.load(seen_by_one.path)
    one.save(one.load(seen_by_one.path), replace(RIG, focal_length_mm=250.0))
    with pytest.raises(SettingsError, match="focal_length_mm"):
        other.save(seen_by_other, replace(RIG, focal_length_mm=300.0))
    assert one.load(seen_by_one.path).profile.focal_length_mm == 250.0


ADDER = """
import sys
from dataclasses import replace
from pathlib import Path
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS
store, me = ProfileStore(Path(sys.argv[1]), RIGS), sys.argv[2]
for number in range(15):
    stored = store.load_all().profiles[0]
    store.save(stored, replace(stored.profile, extra={**stored.profile.extra, f"{me}{number}": number}))
"""


def test_two_processes_lose_nothing(tmp_path: Path) -> None:
    rigs(tmp_path).add(RIG)
    writers = [subprocess.Popen([sys.executable, "-c", ADDER, str(tmp_path), me]) for me in ("a", "b")]
    assert [writer.wait(60) for writer in writers] == [0, 0]
    extra = rigs(tmp_path).load_all().profiles[0].profile.extra
    assert sorted(extra) == sorted(f"{me}{number}" for me in ("a", "b") for number in range(15))


GOOD: dict[str, Any] = {"format": "polewright-rig", "version": 1, "name": "x"}


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"[1]", "not a JSON object"),
        (b"\xff\xfe", "not JSON"),
        (b'{"format": "polewright-rig", "version": 1, "name": NaN}', "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (json.dumps({**GOOD, "format": "other"}).encode(), "not a profile"),
        (json.dumps({**GOOD, "version": "1"}).encode(), "not a profile"),
        (json.dumps({**GOOD, "version": 0}).encode(), "version 0 is unknown"),
        (json.dumps({**GOOD, "name": ""}).encode(), '"name" must be a text'),
        (json.dumps({**GOOD, "focal_length_mm": -5}).encode(), "must lie between"),
        (json.dumps({**GOOD, "focal_length_mm": "long"}).encode(), "must be a number"),
        (json.dumps({**GOOD, "focal_length_mm": -(10**400)}).encode(), "not -inf"),
        (json.dumps({**GOOD, "pixel_size_um": 101.0}).encode(), "must lie between 0.5 and 100, not 101"),
        (json.dumps({**GOOD, "target": "south"}).encode(), '"target" must be one of'),
        (json.dumps({**GOOD, "screws": []}).encode(), '"screws" must be an object'),
    ],
    ids=range(16),
)
def test_a_damaged_file_is_set_aside_and_never_overwritten(tmp_path: Path, content: bytes, sentence: str) -> None:
    store = rigs(tmp_path)
    sound = store.add(RIG)
    damaged = tmp_path / "rigs" / "x.json"
    for number in (1, 2):
        damaged.write_bytes(content)
        loaded = store.load_all()
        assert [stored.path for stored in loaded.profiles] == [sound.path]
        assert sentence in loaded.messages[0] and f"x.json.damaged-{number}" in loaded.messages[0]
        assert not damaged.exists()
        assert (tmp_path / "rigs" / f"x.json.damaged-{number}").read_bytes() == content
    store.add(RigProfile("x"))
    assert (tmp_path / "rigs" / "x.json.damaged-1").read_bytes() == content


def test_a_file_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    store = rigs(tmp_path)
    store.add(RIG)
    newer = tmp_path / "rigs" / "x.json"
    newer.write_text(json.dumps({**GOOD, "version": 99}))
    loaded = store.load_all()
    assert len(loaded.profiles) == 1 and "newer version" in loaded.messages[0]
    assert newer.exists()


def test_migration_runs_version_by_version(tmp_path: Path) -> None:
    """Invented migrations: the notes lengthened in version 2, made upper case in 3."""
    written = rigs(tmp_path).add(RIG)
    written.path.write_text(json.dumps({**written.members, "version": 1}))
    longer = {1: lambda members: {**members, "notes": members["notes"] + " migrated"}}
    louder = {2: lambda members: {**members, "notes": members["notes"].upper()}}
    later = replace(RIGS, version=3, migrations={**longer, **louder})
    store = ProfileStore(tmp_path, later)
    stored = store.load_all().profiles[0]
    assert stored.profile.notes == "SPARE CAMERA MIGRATED"
    store.save(stored, stored.profile)
    assert json.loads(stored.path.read_text())["version"] == later.version


@pytest.mark.parametrize("kind, version", [(k, v) for k in (RIGS, SITES) for v in range(1, k.version)])
def test_a_profile_of_any_earlier_version_is_read(tmp_path: Path, kind: ProfileKind[Any], version: int) -> None:
    """With nothing in it but what the first version had: every later member takes what it stands for when unknown."""
    first = {"lat_deg": 47.0, "lon_deg": 8.0} if kind is SITES else {"focal_length_mm": 240.0}
    folder = tmp_path / kind.folder
    folder.mkdir()
    (folder / "x.json").write_text(json.dumps({"format": kind.format, "version": version, "name": "x", **first}))
    loaded = ProfileStore(tmp_path, kind).load_all()
    assert loaded.messages == ()
    expected = SiteProfile("x", Site(47.0, 8.0, 0.0)) if kind is SITES else RigProfile("x", 240.0)
    assert [stored.profile for stored in loaded.profiles] == [expected]


def test_pixels_of_the_largest_size_that_is_taken(tmp_path: Path) -> None:
    """Binned sixfold, the pixels of the largest sensors are some 60 µm wide (common practice, no source)."""
    store = rigs(tmp_path)
    store.add(replace(RIG, pixel_size_um=60.0))
    assert store.load_all().profiles[0].profile.pixel_size_um == 60.0


def test_what_a_later_version_added_is_kept(tmp_path: Path) -> None:
    store = rigs(tmp_path)
    stored = store.add(RIG)
    members = json.loads(stored.path.read_text())
    stored.path.write_text(json.dumps({**members, "colour": "red"}))
    again = store.load(stored.path)
    store.save(again, replace(again.profile, notes="changed"))
    assert json.loads(stored.path.read_text())["colour"] == "red"


def test_what_cannot_be_saved_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = rigs(tmp_path)
    stored = store.add(RIG)
    before = stored.path.read_bytes()
    for bad in (
        replace(RIG, focal_length_mm=-1.0),
        replace(RIG, screws={"x": float("nan")}),
        replace(RIG, screws={"x": {1}}),
    ):
        with pytest.raises(SettingsError):
            store.save(stored, bad)

    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(profile_store, "write_atomically", full)
    with pytest.raises(SettingsError, match="No space left"):
        store.save(stored, replace(RIG, notes="x"))
    assert stored.path.read_bytes() == before
    assert [path.name for path in stored.path.parent.glob("*.json*")] == ["balcony-rig.json"]
    blocked = tmp_path / "file"
    blocked.touch()
    with pytest.raises(SettingsError, match="cannot be saved"):
        rigs(blocked).add(RIG)
