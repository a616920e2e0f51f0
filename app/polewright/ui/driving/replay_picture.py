"""The picture of a recorded frame, where the frame was kept or still lies where it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from polewright.core.errors import FrameReadError
from polewright.services.frame_reader import read_frame
from polewright.services.night_folders import kept_frame
from polewright.ui.presenting.picture import Picture, step_for, stretched


def kept_picture(folder: Path, kept_as: str, nights: Path) -> Picture | None:
    """The frame as a picture without marks; None when it is not there any more. `nights`: this program's own."""
    path = kept_frame(folder, kept_as, nights) if kept_as else None
    if path is None:
        return None
    try:
        frame = read_frame(path)
    except (FrameReadError, OSError):
        return None
    pixels = stretched(frame.pixels, step_for(frame.width_px))
    return Picture(frame.name, pixels, np.zeros((0, 2)), np.zeros(0, dtype=bool), frame.name, "as recorded")
