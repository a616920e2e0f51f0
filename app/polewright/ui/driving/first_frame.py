"""What the first frame in a folder tells about site and optics."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.dated_folders import DatedFolders
from polewright.services.folder_survey import frames_below
from polewright.services.frame_reader import read_frame
from polewright.services.frame_reader.families import is_frame_name
from polewright.ui.driving.form import Known, number_text, without_air
from polewright.words import forms
from polewright.words.folder import NO_FRAMES_YET, followed_words, frames_below_words

NEWEST_TRIED = 3


@dataclass(frozen=True)
class FolderLook:
    """One look at a folder: what is wrong with it, else the newest readable frame (None while there is none) and what
    else there is to know."""

    folder: str
    problem: str = ""
    frame: Frame | None = None
    note: str = ""


def look_into(text: str, read: Callable[[Path], Frame] = read_frame) -> FolderLook:
    """Look at a folder; slow on a network share, so never in the window's thread."""
    folder = Path(text).expanduser()
    name = folder.name or text
    try:
        if not folder.is_dir():
            missing = not folder.exists()
            return FolderLook(text, forms.no_folder(name) if missing else forms.not_a_folder(name))
        walked = DatedFolders(folder)
        frames = [Path(path) for _, path in walked.walk(lambda _, last: is_frame_name(last))]
        newest = sorted(frames, key=lambda path: path.stat().st_mtime, reverse=True)[:NEWEST_TRIED]
        note = _note(folder, walked, len(frames))
    except OSError as error:
        return FolderLook(text, forms.folder_unreadable(name, error.strerror or str(error)))
    for path in newest:
        try:
            return FolderLook(text, frame=read(path), note=note)
        except FrameReadError:
            continue  # half written, or no frame at all: the next newest
    return FolderLook(text, note=note)


def _note(folder: Path, walked: DatedFolders, frames: int) -> str:
    """What lies there, and which folders by date are watched as well; "" where all is as one would think."""
    parts = []
    if not frames:
        below = frames_below(folder, walked.passed)
        parts.append(frames_below_words(below) if below else NO_FRAMES_YET)
    if walked.followed:
        parts.append(followed_words(walked.followed, len(walked.left_out)))
    return "; ".join(parts)


def learned(known: Known, frame: Frame) -> Known:
    """The form with what the frame says, field by field; what the person typed stays."""
    if frame.site is not None:
        site = frame.site.value
        told = {
            "latitude": number_text(site.lat_deg, 5),
            "longitude": number_text(site.lon_deg, 5),
            "elevation": number_text(site.elev_m, 0),
        }
        known = _filled(known, told, "site_from", f"from {frame.site.source} of {frame.name}")
    told = {} if frame.temperature_c is None else {"temperature": number_text(frame.temperature_c.value, 1)}
    told |= {} if frame.pressure_hpa is None else {"pressure": number_text(frame.pressure_hpa.value, 0)}
    free: dict[str, Any] = {name: text for name, text in told.items() if name not in known.typed}
    known = replace(without_air(known), **free)
    focal, pixel = frame.focal_length_mm, frame.pixel_size_um
    stated = focal or pixel
    if stated is not None:
        told = {} if focal is None else {"focal_length": number_text(focal.value, 1)}
        told |= {} if pixel is None else {"pixel_size": number_text(pixel.value, 3)}
        known = _filled(known, told, "optics_from", f"from {stated.source} of {frame.name}")
    return known


def _filled(known: Known, told: Mapping[str, str], origin: str, source: str) -> Known:
    """With what is told of fields that nobody typed in."""
    free = {name: text for name, text in told.items() if name not in known.typed}
    if not free:
        return known
    mixed = len(free) < len(told)
    changes: dict[str, Any] = {**free, origin: f"as you typed it; the rest {source}" if mixed else source}
    return replace(known, **changes)
