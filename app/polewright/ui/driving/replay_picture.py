"""The picture of a recorded frame: the frame where it was kept or still lies, its recorded stars in any case."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.frame_reader import read_frame
from polewright.services.night_folders import kept_frame
from polewright.ui.driving.recorded_frame import RecordedFrame
from polewright.ui.presenting.picture import step_for, stretched
from polewright.ui.view_model import FramePicture

Read = Callable[[Path], Frame]


def recorded_picture(
    name: str, recorded: RecordedFrame, folder: Path, nights: Path, read: Read = read_frame
) -> FramePicture | None:
    """The frame with its stars, or the stars alone on black; None when neither is left.

    `folder`: of the recorded night; `nights`: where this program keeps its own.
    """
    kept = _kept_frame_picture(recorded, folder, nights, read)
    if kept is not None:
        return kept
    width, height = recorded.size_px
    if not width or not len(recorded.stars_px):
        return None
    every = step_for(width)
    black = np.zeros((max(1, height // every), max(1, width // every)), dtype=np.uint8)
    return _with_stars(name, black, recorded, every, "frame not kept")


def _kept_frame_picture(recorded: RecordedFrame, folder: Path, nights: Path, read: Read) -> FramePicture | None:
    path = kept_frame(folder, recorded.file, nights) if recorded.file else None
    if path is None:
        return None
    try:
        frame = read(path)
    except (FrameReadError, OSError):
        return None
    every = step_for(frame.width_px)
    return _with_stars(frame.name, stretched(frame.pixels, every), recorded, every, "as recorded")


def _with_stars(name: str, pixels: np.ndarray, recorded: RecordedFrame, every: int, origin: str) -> FramePicture:
    places = (recorded.stars_px - 0.5 * (every - 1)) / every
    return FramePicture(name, pixels, places, recorded.matched, recorded.stars_text, origin)
