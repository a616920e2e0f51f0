"""A folder per night, and the frames kept in it."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from enum import Enum
from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.core.sky.timescales import iso_text
from polewright.services.atomic_file import unused_name
from polewright.services.file_lock import FileLock
from polewright.services.night_log import LOG_NAME

FRAMES = "frames"
DELETED, DELETED_NAME = "deleted", re.compile(r"\..+\.deleted-\d+")


class KeepFrames(Enum):
    """What becomes of the frames of a night."""

    REFERENCE = "reference"  # only their names are written down
    LINK = "link"  # a second name for the same file; a copy where the file system cannot
    COPY = "copy"


def new_night_folder(root: Path, utc: Utc, lon_deg: float = 0.0) -> Path:
    """An unused folder `YYYY-MM-DD` (then `-2`, `-3`, ...) named by the local evening; it is not created here."""
    evening = local_evening(utc, lon_deg)
    folder, number = root / evening, 1
    while folder.exists():
        number += 1
        folder = root / f"{evening}-{number}"
    return folder


def local_evening(utc: Utc, lon_deg: float) -> str:
    """The date on which a night began where it was: after midnight, and where UTC is a day ahead, still that one."""
    return iso_text(utc.plus_seconds((lon_deg / 15.0 - 12.0) * 3600.0))[:10]


def recorded_nights(root: Path) -> list[Path]:
    """The folders below `root` that hold a log, latest name first."""
    try:
        return sorted((path.parent for path in root.glob(f"[!.]*/{LOG_NAME}")), reverse=True)
    except OSError:
        return []


def delete_night(folder: Path, nights: Path) -> None:
    """Delete a night of this program's own with everything in its folder; RecordingError when that cannot be.

    Only a folder directly below `nights` that holds a log and that nobody writes to; never through a link.
    """
    own = own_night(nights, str(folder))
    if own is None or folder.is_symlink() or not (folder / LOG_NAME).is_file():
        raise RecordingError(f"{folder.name} is not one of the program's own nights: it was left as it is.")
    try:
        _remove(_out_of_the_way(folder), folder)
    except OSError as error:
        raise RecordingError(f"{folder.name} cannot be deleted: {error.strerror or error}.") from error


def sweep_deleted(nights: Path) -> None:
    """Delete what is left of nights whose deleting was cut short: nobody sees them, and nobody can open them."""
    with contextlib.suppress(OSError):
        for folder in nights.iterdir():
            if DELETED_NAME.fullmatch(folder.name) and folder.is_dir() and not folder.is_symlink():
                shutil.rmtree(folder, ignore_errors=True)


def _out_of_the_way(folder: Path) -> Path:
    """Its new name, hidden: while it is deleted nobody can open it under the old one."""
    hidden = unused_name(folder.with_name(f".{folder.name}"), DELETED)
    lock = FileLock(folder / ".lock")
    if not lock.take():
        raise RecordingError(f"The night {folder.name} is open in another window: close it there first.")
    if os.name == "nt":
        lock.free()  # Windows renames no folder in which a file is open, ours or another window's
    try:
        return folder.rename(hidden)
    finally:
        lock.free()


def _remove(hidden: Path, folder: Path) -> None:
    """Delete it; what cannot be deleted comes back under its old name."""
    try:
        shutil.rmtree(hidden)
    except OSError:
        with contextlib.suppress(OSError):
            hidden.rename(folder)
        raise


def own_night(nights: Path, remembered: str) -> Path | None:
    """The folder that a settings file names, if it lies directly below `nights`; None for any other place."""
    try:
        folder = Path(remembered)
        return folder if folder.resolve().parent == nights.resolve() else None
    except (OSError, ValueError, RuntimeError):  # a loop of links, a name no system has
        return None


def kept_frame(folder: Path, kept_as: str, nights: Path) -> Path | None:
    """The file of a frame that the log in `folder` names; None when it is gone or not for that log to name.

    A log may name files inside its own folder, links followed. One below `nights` was written by this program: it may
    also name where the camera software put a frame. A log from elsewhere may not.
    """
    try:
        named = Path(kept_as)
        path = folder / named
        inside = path.resolve().is_relative_to(folder.resolve())
        allowed = inside or (named.is_absolute() and own_night(nights, str(folder)) is not None)
        return path if allowed and path.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None


def keep_frame(folder: Path, frame: Path, how: KeepFrames) -> str:
    """Keep `frame` with the night in `folder`; the name to write down, relative to `folder` where it lies there.

    RecordingError when the frame cannot be copied; nothing half-copied is left behind.
    """
    if how is KeepFrames.REFERENCE:
        return str(frame)
    place = folder / FRAMES
    try:
        place.mkdir(parents=True, exist_ok=True)
        target = _free_name(place / frame.name)
        if how is not KeepFrames.LINK or not _linked(frame, target):
            _copy(frame, target)
    except OSError as error:
        raise RecordingError(f"{frame.name} cannot be kept in {place}: {error.strerror or error}.") from error
    return f"{FRAMES}/{target.name}"


def _linked(frame: Path, target: Path) -> bool:
    try:
        target.hardlink_to(frame)
    except (OSError, NotImplementedError):
        return False
    return True


def _copy(frame: Path, target: Path) -> None:
    partial = target.with_name(f".{target.name}.partial")
    try:
        shutil.copyfile(frame, partial)
        os.replace(partial, target)  # noqa: PTH105 - a rename over nothing
    except OSError:
        with contextlib.suppress(OSError):
            partial.unlink()
        raise


def _free_name(path: Path) -> Path:
    """`path`, or `stem-2.suffix` and so on: camera software may use one name again and again."""
    candidate, number = path, 1
    while candidate.exists():
        number += 1
        candidate = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return candidate
