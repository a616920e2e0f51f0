"""What the first frame in a folder tells about site and optics."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.frame_reader import read_frame
from polewright.services.frame_reader.families import is_frame_name
from polewright.ui.driving.form import Known, number_text
from polewright.words import forms

NEWEST_TRIED = 3


@dataclass(frozen=True)
class FolderLook:
    """One look at a folder: what is wrong with it, else the newest readable frame (None while there is none)."""

    folder: str
    problem: str = ""
    frame: Frame | None = None


def look_into(text: str, read: Callable[[Path], Frame] = read_frame) -> FolderLook:
    """Look at a folder; slow on a network share, so never in the window's thread."""
    folder = Path(text).expanduser()
    try:
        if not folder.is_dir():
            missing = not folder.exists()
            return FolderLook(text, forms.NO_FOLDER if missing else forms.NOT_A_FOLDER)
        names = [path for path in folder.iterdir() if is_frame_name(path.name)]
        newest = sorted(names, key=lambda path: path.stat().st_mtime, reverse=True)[:NEWEST_TRIED]
    except OSError as error:
        return FolderLook(text, forms.folder_unreadable(error.strerror or str(error)))
    for path in newest:
        try:
            return FolderLook(text, frame=read(path))
        except FrameReadError:
            continue  # half written, or no frame at all: the next newest
    return FolderLook(text)


def learned(known: Known, frame: Frame) -> Known:
    """The form with what the frame says; what the person typed stays."""
    if frame.site is not None and not known.typed & {"latitude", "longitude"}:
        site = frame.site.value
        known = replace(
            known,
            latitude=number_text(site.lat_deg, 5),
            longitude=number_text(site.lon_deg, 5),
            elevation=number_text(site.elev_m, 0),
            site_from=f"from {frame.site.source} of {frame.name}",
        )
    focal, pixel = frame.focal_length_mm, frame.pixel_size_um
    stated = focal or pixel
    if stated is not None and not known.typed & {"focal_length", "pixel_size"}:
        known = replace(
            known,
            focal_length=known.focal_length if focal is None else number_text(focal.value, 1),
            pixel_size=known.pixel_size if pixel is None else number_text(pixel.value, 3),
            optics_from=f"from {stated.source} of {frame.name}",
        )
    return known
