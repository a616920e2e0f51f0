"""Looks this installation over: one `Check` for each thing that can be wrong, with its cure. No Qt here."""

from __future__ import annotations

import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from importlib import metadata
from pathlib import Path
from typing import Any

from polewright import __version__
from polewright.core.errors import CatalogueError, RecordingError
from polewright.services.catalogue import load_catalogue
from polewright.services.credits import missing_texts, read_credits
from polewright.services.layer_file import LayerFileError, OutdatedLayerError, read_layer
from polewright.services.night_folders import recorded_nights
from polewright.services.night_log import read_night
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, SITES, ProfileKind
from polewright.words.credits import texts_fact, texts_missing

LIBRARIES = (
    "numpy", "scipy", "pyerfa", "astropy", "sep", "tetra3rs", "pillow", "tifffile", "rawpy", "exifread",
    "platformdirs", "pygeomag", "watchdog", "jinja2", "PySide6-Essentials", "PySide6-Addons",
    "font-source-sans-pro",
)  # fmt: skip
ROOM_WANTED_MB = 1000  # the index of the sky and a night of frames; common practice, no source
OLDEST_PYTHON = (3, 11)  # as requires-python of pyproject.toml
QT_TOO_NEW = (6, 12)  # under Python 3.11, see pyproject.toml
REINSTALL = "Install Polewright again."


class State(Enum):
    """How a thing is. NOTE: good to know, nothing to do."""

    WELL = "well"
    NOTE = "note"
    ILL = "needs a cure"


@dataclass(frozen=True)
class Check:
    """`fact` is a sentence; `cure` another one, "" when nothing needs to be done."""

    name: str
    state: State
    fact: str
    cure: str = ""


@dataclass(frozen=True)
class Folders:
    """Where the program keeps what is the person's: see services/paths.py."""

    config: Path
    data: Path
    cache: Path

    @property
    def nights(self) -> Path:
        return self.data / "nights"

    @property
    def log(self) -> Path:
        return self.data / "log"


def look_over(folders: Folders) -> list[Check]:
    """Every check that needs no screen. Slow parts: reading the catalogue (0.3 s)."""
    catalogue, checksum = check_catalogue()
    return [
        check_python(),
        check_libraries(),
        check_licences(),
        catalogue,
        check_index(folders.cache, checksum),
        *(check_folder(name, folder) for name, folder in _named(folders)),
        check_room(folders.data),
        check_profiles("rigs", folders.config, RIGS),
        check_profiles("sites", folders.config, SITES),
        check_last_night(folders.nights),
    ]


def _named(folders: Folders) -> tuple[tuple[str, Path], ...]:
    return ("settings folder", folders.config), ("nights folder", folders.data), ("cache folder", folders.cache)


def check_python() -> Check:
    """The program's version, Python and the system."""
    fact = f"Polewright {__version__}, Python {platform.python_version()}, {platform.platform()}"
    fact += ", frozen build." if hasattr(sys, "_MEIPASS") else "."
    if sys.version_info[:2] < OLDEST_PYTHON:
        return Check("program", State.ILL, fact, "Python 3.11 or newer is needed: install it, then Polewright again.")
    return Check("program", State.WELL, fact)


def library_versions() -> dict[str, str | None]:
    """The installed version of each library; None where it is missing."""
    return {name: _version(name) for name in LIBRARIES}


def check_libraries(versions: Mapping[str, str | None] | None = None) -> Check:
    """Whether everything the program is built on is there."""
    versions = library_versions() if versions is None else versions
    missing = [name for name, version in versions.items() if version is None]
    if missing:
        return Check("libraries", State.ILL, f"Missing: {', '.join(missing)}.", REINSTALL)
    qt = versions["PySide6-Essentials"] or ""
    if sys.version_info < (3, 12) and not _older(qt, QT_TOO_NEW):
        fact = f"PySide6 {qt} crashes at random under Python {platform.python_version()}."
        return Check("libraries", State.ILL, fact, "Install Polewright again, or use Python 3.12 or newer.")
    return Check("libraries", State.WELL, f"All {len(versions)} are there, Qt {qt}.")


def check_licences() -> Check:
    """Whether the text of every licence lies beside the program, as the licences ask."""
    credits = read_credits()
    missing = missing_texts(credits)
    if missing:
        return Check("licences", State.ILL, texts_missing(missing), REINSTALL)
    return Check("licences", State.WELL, texts_fact(credits))


def check_catalogue(path: Path | None = None) -> tuple[Check, str]:
    """The star catalogue against its SHA-256; the checksum, "" when it cannot be used."""
    try:
        catalogue = load_catalogue(path)
    except CatalogueError as error:
        return Check("star catalogue", State.ILL, error.fact, error.cure or REINSTALL), ""
    fact = f"{len(catalogue.magnitude):,} stars, SHA-256 {catalogue.checksum[:12]} as it should be."
    return Check("star catalogue", State.WELL, fact), catalogue.checksum


def check_index(cache: Path, checksum: str) -> Check:
    """Every byte of the layers of the star index that have been made so far."""
    sound, outdated, damaged, size_mb = 0, 0, [], 0.0
    for path in sorted(cache.glob("stars-*-layer-*.index")) if checksum else ():
        try:
            read_layer(path, checksum)
        except OutdatedLayerError:
            outdated += 1
        except LayerFileError:
            damaged.append(path.name)
        else:
            sound, size_mb = sound + 1, size_mb + path.stat().st_size / 1e6
    if damaged:
        cure = f"Delete what is named, in {cache}: it is made again when needed, which takes a few seconds."
        return Check("star index", State.ILL, f"Damaged: {', '.join(damaged)}.", cure)
    old = f" {outdated} of an older version are made again when needed." if outdated else ""
    left_over = sum(path.stat().st_size for path in cache.glob("stars-*.part")) / 1e6
    if left_over:
        cure = f"Delete what ends in .part in {cache}, when no other Polewright is running."
        return Check("star index", State.ILL, f"{left_over:.0f} MB were left over by a crash.{old}", cure)
    if not sound:
        return Check("star index", State.NOTE, f"Not made yet: the first frame takes some seconds longer.{old}")
    return Check("star index", State.WELL, f"{sound} layers, {size_mb:.0f} MB.{old}")


def check_folder(name: str, folder: Path) -> Check:
    """Whether the folder can be written; one that does not exist yet is judged by where it would be made."""
    place = _nearest(folder)
    cure = f"Allow writing in {place}, or set POLEWRIGHT_HOME to a folder that you may write to."
    if not place.is_dir():
        return Check(name, State.ILL, f"{place} is a file where a folder should be.", f"Rename {place}.")
    try:
        with tempfile.TemporaryFile(dir=place) as file:
            file.write(b"polewright")
    except OSError as error:
        return Check(name, State.ILL, f"{folder} cannot be written: {error.strerror or error}.", cure)
    made = "" if folder.exists() else " (it will be made when needed)"
    return Check(name, State.WELL, f"{folder} can be written{made}.")


def check_room(folder: Path) -> Check:
    """Free space where the nights are recorded."""
    try:
        free_mb = shutil.disk_usage(_nearest(folder)).free / 1e6
    except OSError as error:
        return Check("free space", State.NOTE, f"The free space is unknown: {error.strerror or error}.")
    fact = f"{free_mb / 1000.0:,.1f} GB free for nights and frames."
    if free_mb < ROOM_WANTED_MB:
        return Check("free space", State.ILL, fact, "Make room: 1 GB should be free before a night begins.")
    return Check("free space", State.WELL, fact)


def check_profiles(name: str, config: Path, kind: ProfileKind[Any]) -> Check:
    """Whether every profile can be read. Damaged ones are named and left where they are."""
    folder = config / kind.folder
    paths = sorted(folder.glob("*.json"))
    store: ProfileStore[Any] = ProfileStore(config, kind)
    problems = [problem for problem in map(store.problem_with, paths) if problem]
    aside = len(list(folder.glob("*.damaged-*")))
    if problems:
        return Check(name, State.ILL, " ".join(problems), f"Mend or delete what is named, in {folder}.")
    fact = f"{len(paths)} readable" + (f", {aside} damaged set aside." if aside else ".")
    return Check(name, State.NOTE if aside else State.WELL, fact)


def check_last_night(nights: Path) -> Check:
    """The record of the last night, read to its end."""
    found = recorded_nights(nights)
    if not found:
        return Check("last night", State.NOTE, "No night has been recorded yet.")
    try:
        log = read_night(found[0])
    except RecordingError as error:
        return Check("last night", State.ILL, str(error), "Copy the folder away, then send it in with this bundle.")
    fact = f"{found[0].name}: {len(log.events)} lines"
    if log.problems:
        return Check("last night", State.NOTE, f"{fact}. {' '.join(log.problems)}")
    return Check("last night", State.WELL, f"{fact}, every checksum right.")


def plain_facts(checks: Sequence[Check]) -> dict[str, Any]:
    """Everything as plain values, under the names that the JSON output promises."""
    return {
        "program": __version__,
        "python": platform.python_version(),
        "platform": platform.platform(),
        "machine": platform.machine(),
        "processors": os.cpu_count(),
        "frozen": hasattr(sys, "_MEIPASS"),
        "libraries": library_versions(),
        "well": all(check.state is not State.ILL for check in checks),
        "checks": [
            {"name": check.name, "state": check.state.value, "fact": check.fact, "cure": check.cure}
            for check in checks
        ],
    }


def _version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None


def _older(version: str, than: tuple[int, int]) -> bool:
    numbers = tuple(int(part) for part in version.split(".")[:2] if part.isdigit())
    return numbers < than


def _nearest(path: Path) -> Path:
    while not path.exists() and path != path.parent:
        path = path.parent
    return path
