"""Damaged profiles, logs, index layers and catalogues: only the documented outcomes, whatever the damage.

Two kinds of damage: bytes (cut, flipped, overwritten, left out), which checksums notice; and values, written with
the right checksum as a hostile or mistaken program would. POLEWRIGHT_FUZZ=100000 sets how many in a long run.
"""

from __future__ import annotations

import copy
import io
import json
import os
import random
import warnings
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polewright.core.axis_reasons import TooFewPlaces
from polewright.core.errors import CatalogueError, PolewrightError, RecordingError, SettingsError
from polewright.core.model import Site, TargetPole, Utc
from polewright.core.night import events
from polewright.core.plain import to_plain
from polewright.core.screws.angles import Screw
from polewright.core.sky.catalogue import Catalogue
from polewright.core.sky.cells import CELL_COUNT
from polewright.core.star_trouble import TooFewStars
from polewright.runtime.course import Course
from polewright.runtime.retrace import recorded_events
from polewright.services import catalogue as catalogue_module
from polewright.services.catalogue_format import (
    CELLS_ROW,
    LEVELS_ROW,
    MOTION_ROW,
    STARS_ROW,
    CatalogueTables,
    decode,
    encode,
)
from polewright.services.layer_file import LayerFileError, read_layer, write_layer
from polewright.services.log_format import LoggedEvent, encode_line
from polewright.services.night_export import export_csv, export_json
from polewright.services.night_log import parse_night
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, SITES, ProfileKind
from small_layer import small_layer

INPUTS = int(os.environ.get("POLEWRIGHT_FUZZ", "1200"))
ODD: tuple[Any, ...] = (
    None, True, -1, 0, 1e300, -1e300, 5e-324, 10**400, "", "nan", "inf", "../../x", "\x1b[31m", "\ud800", [], {},
    [[]], [0.0] * 4, {"$float": "nan"}, {"$float": []}, {"$float": "x"}, {"kind": "Site"}, "x" * 10_000,
)  # fmt: skip


def damaged(sound: bytes, rng: random.Random) -> bytes:
    """Cut, flipped bits, a run overwritten, a piece left out, or other digits."""
    data, kind = bytearray(sound), rng.randrange(5)
    place = rng.randrange(len(data))
    if kind == 0:
        del data[place:]
    elif kind == 1:
        for _ in range(rng.randrange(1, 20)):
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif kind == 2:
        data[place : place + 60] = rng.randbytes(len(data[place : place + 60]))
    elif kind == 3:
        del data[place : place + rng.randrange(1, 300)]
    else:
        digits = [i for i, byte in enumerate(data[:20_000]) if 48 <= byte <= 57]
        for position in rng.sample(digits, min(3, len(digits))):
            data[position] = rng.choice(b"09-.eE ")
    return bytes(data)


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every member of nested mappings and lists (the first three of a list)."""
    if path:
        yield path
    members = value.items() if isinstance(value, dict) else enumerate(value[:3]) if isinstance(value, list) else ()
    for name, item in members:
        yield from places(item, (*path, name))


def altered(sound: Any, rng: random.Random) -> Any:
    """A copy with one or two values taken out or replaced by odd ones."""
    value = copy.deepcopy(sound)
    for _ in range(rng.choice((1, 1, 2))):
        ways = list(places(value))
        if not ways:
            return value
        *way, last = rng.choice(ways)
        holder = value
        for step in way:
            holder = holder[step]
        if rng.random() < 0.25 and isinstance(holder, dict):
            del holder[last]
        else:
            holder[last] = copy.deepcopy(rng.choice(ODD))
    return value


# profiles

RIG = {
    "format": "polewright-rig", "version": 1, "name": "Guide scope", "focal_length_mm": 240.0, "pixel_size_um": 5.0,
    "target": "refracted", "notes": "spring", "screws": {"azimuth": {"prior": None, "moves": []}}, "later": [1],
}  # fmt: skip
SITE = {
    "format": "polewright-site", "version": 1, "name": "Heath", "lat_deg": 52.3, "lon_deg": 3.0, "elev_m": 84.0,
    "notes": "", "later": {"x": 1},
}  # fmt: skip


@pytest.mark.parametrize(("kind", "sound"), [(RIGS, RIG), (SITES, SITE)], ids=["rigs", "sites"])
def test_a_damaged_profile_is_read_or_set_aside(
    kind: ProfileKind[Any], sound: dict[str, Any], tmp_path: Path
) -> None:
    rng, store, refused = random.Random(kind.folder), ProfileStore(tmp_path, kind), 0
    folder = tmp_path / kind.folder
    folder.mkdir()
    path = folder / "one.json"
    for number in range(INPUTS // 4):
        text = json.dumps(altered(sound, rng) if number % 2 else sound).encode()
        content = text if number % 2 else damaged(text, rng)
        path.write_bytes(content)
        problem = store.problem_with(path)
        assert path.read_bytes() == content, "looking changes nothing"
        try:
            stored = store.load(path)
        except SettingsError as error:
            refused += 1
            assert problem and path.name in str(error)
            left = [file for file in folder.iterdir() if file.read_bytes() == content]
            assert left, "a refused profile is kept, set aside or where it was"
            for file in left:
                file.unlink()
        else:
            assert not problem and stored.profile.name.strip()
    assert refused > INPUTS // 20, "the damage is real"


# logs


def night_lines() -> list[LoggedEvent]:
    """A short night: who, where, what was done, one frame that failed."""
    happened: list[events.AnyEvent] = [
        events.NightStarted(0.0, Site(52.3, 3.0, 84.0), TargetPole.REFRACTED, 0.914, 1.5e-4),
        events.NextAsked(10.0),
        events.FrameUnsolved(12.0, "a.fits", TooFewStars(0.5, 0, 3, 8, 3.0)),
        events.ScrewTurned(20.0, Screw.AZIMUTH, 0.25),
        events.AxisRefused(21.0, TooFewPlaces(1)),
        events.TrackingSwitched(22.0, True),
        events.ToleranceChanged(25.0, 2e-4),
        events.FolderLost(30.0, "the share is gone"),
    ]
    header = {"format": "polewright-night", "version": 1, "program": "0"}
    data = [("log", header), *(("event", to_plain(event)) for event in happened)]
    return [
        LoggedEvent(seq, float(seq), Utc(2461101.5, 0.3 + seq / 86400.0), kind, value)
        for seq, (kind, value) in enumerate(data)
    ]


def members_of(line: LoggedEvent) -> dict[str, Any]:
    return {key: value for key, value in json.loads(encode_line(line)).items() if key != "crc"}


def signed(members: Any) -> bytes:
    """A line with the checksum that belongs to it."""
    body = json.dumps(members, separators=(",", ":")).encode()
    return body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(body)


def play(blob: bytes, advised: bool = True) -> bool:
    """Read, replay and export a log; False when it was refused in the one documented way. Advice costs most."""
    try:
        log = parse_night(blob, "night.jsonl")
        course = Course()
        for _, event in recorded_events(log):
            if advised:
                course.take(event)
        json.loads(export_json(log.events, ("event",)))
        export_csv(log.events, ("event",)).encode()
    except RecordingError as error:
        assert str(error)
        return False
    return True


def test_damaged_bytes_of_a_log_cost_lines_and_nothing_else() -> None:
    sound = b"".join(encode_line(line) for line in night_lines())
    assert play(sound)
    rng = random.Random(11)
    for _ in range(INPUTS // 3):
        log = parse_night(damaged(sound, rng), "night.jsonl")
        assert len(log.events) < len(night_lines()), "only sound lines come out"
    for _ in range(INPUTS // 40):
        play(damaged(sound, rng))


def test_odd_values_under_a_right_checksum_are_refused_in_one_way() -> None:
    rng, sound, refused = random.Random(12), [members_of(line) for line in night_lines()], 0
    for number in range(INPUTS // 2):
        lines = list(sound)
        which = rng.randrange(len(lines))
        lines[which] = altered(lines[which], rng)
        refused += not play(b"".join(map(signed, lines)), advised=number % 16 == 0)
    assert refused > INPUTS // 20, "the damage is real"


def test_a_line_of_nothing_but_brackets_is_a_damaged_line() -> None:
    body = b'{"seq":1,"data":' + b"[" * 100_000 + b"]" * 100_000 + b"}"
    line = body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(body)
    assert parse_night(line, "night.jsonl").events == ()


# the star index


def test_a_damaged_layer_is_made_anew(tmp_path: Path) -> None:
    checksum, stream, written = "ab" * 32, io.BytesIO(), small_layer()
    write_layer(stream, written, checksum)
    sound, path, rng, refused = stream.getvalue(), tmp_path / "x.index", random.Random(13), 0
    header = json.loads(sound[:4096])
    for number in range(INPUTS // 4):
        text = json.dumps(altered(header, rng)).encode()
        content = damaged(sound, rng) if number % 2 else text.ljust(4096)[:4096] + sound[4096:]
        path.write_bytes(content)
        try:
            layer = read_layer(path, checksum)
        except LayerFileError:
            refused += 1
        else:
            everything = np.arange(written.word.size)
            assert np.array_equal(layer.members(everything), written.members(everything))
    assert refused > INPUTS // 20, "the damage is real"


# the catalogue


def small_catalogue() -> CatalogueTables:
    """Two stars in the first cell, one of them with a motion of its own."""
    cells = np.zeros(CELL_COUNT, dtype=CELLS_ROW)
    cells[0] = (2, 1, 3, 4, 5)
    return CatalogueTables(
        2016.0,
        cells,
        np.array([(100, -200, 0), (300, 400, 1)], dtype=STARS_ROW),
        np.array([(12, -7)], dtype=MOTION_ROW),
        np.array([(5.5,), (6.5,)], dtype=LEVELS_ROW),
    )


def test_damage_of_the_catalogue_is_found_before_and_behind_its_checksum(tmp_path: Path) -> None:
    import hashlib

    sound, path, rng = encode(small_catalogue(), ("invented",)), tmp_path / "stars.fits", random.Random(14)
    beside = tmp_path / "stars.fits.sha256"
    path.write_bytes(sound)
    beside.write_text(hashlib.sha256(sound).hexdigest())
    assert len(catalogue_module.load_catalogue(path).magnitude) == 2
    for number in range(INPUTS // 40):
        content = damaged(sound, rng)
        path.write_bytes(content)
        if number % 2:
            beside.write_text(hashlib.sha256(content).hexdigest())
        try:
            found = catalogue_module.load_catalogue(path)
        except CatalogueError as error:
            assert "repair" in str(error)
        else:
            assert isinstance(found, Catalogue) and (number % 2 or content == sound)
    for _ in range(INPUTS // 2):
        head = bytearray(damaged(sound[: 2880 * 2], rng))
        try:
            decode(bytes(head) + sound[2880 * 2 :])
        except (ValueError, KeyError, IndexError):
            continue


@pytest.fixture(autouse=True)
def numbers_may_be_odd() -> Iterator[None]:
    """What numpy warns about on odd numbers (overflow, nan) is no outcome; exceptions are."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def test_every_documented_error_is_one_family() -> None:
    assert all(issubclass(kind, PolewrightError) for kind in (CatalogueError, RecordingError, SettingsError))
