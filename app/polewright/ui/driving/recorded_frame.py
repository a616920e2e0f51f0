"""What the record of a night holds of a frame, and its picture in a replay. Tolerates any damage.

Decided 2026-11-25. A record names files of its own folder. Records are handed on for practice, and name the frames.
A frame is shown when it lies inside the folder of its night, links followed; a night below our own data folder may
also name where the camera software put a frame. Following any path was rejected: devices, pipes and network shares
are files too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.core.errors import FrameReadError
from polewright.core.model import FloatArray, Frame
from polewright.services.frame_reader import read_frame
from polewright.services.night_folders import kept_frame
from polewright.ui.presenting.picture import MOST_STARS, step_for, stretched
from polewright.ui.view_model import FramePicture

Read = Callable[[Path], Frame]
LARGEST_SIDE_PX = 20_000


@dataclass(frozen=True, eq=False)
class RecordedFrame:
    """`file`: where the frame was kept, "" when nowhere. Stars (N, 2), pixels, brightest first; which are matched.

    `size_px` is width and height, (0, 0) when the record does not say.
    """

    file: str
    stars_px: FloatArray
    matched: NDArray[np.bool_]
    size_px: tuple[int, int]

    @property
    def stars_text(self) -> str:
        """`76 stars, 68 matched`."""
        return f"{len(self.stars_px)} stars, {int(self.matched.sum())} matched"


def recorded_frame(data: Mapping[str, Any]) -> RecordedFrame:
    """One line of the log; stars that cannot be read are left out."""
    file = str(data.get("file") or "")
    try:
        stars, solution = data["stars"], data.get("solution")
        places = np.column_stack([_numbers(stars["x_px"]), _numbers(stars["y_px"])])[:MOST_STARS]
        size = (int(stars["width_px"]), int(stars["height_px"]))
        known = np.zeros(0, dtype=complex)
        if solution is not None:
            known = _numbers(solution["matched"]["x_px"]) + 1j * _numbers(solution["matched"]["y_px"])
    except (KeyError, TypeError, ValueError, OverflowError):
        return RecordedFrame(file, np.zeros((0, 2)), np.zeros(0, dtype=bool), (0, 0))
    if not all(0 < side <= LARGEST_SIDE_PX for side in size):
        size = (0, 0)
    matched = np.isin(places[:, 0] + 1j * places[:, 1], known)
    return RecordedFrame(file, places, np.asarray(matched, dtype=bool), size)


def _numbers(values: Any) -> FloatArray:
    numbers = np.array(values, dtype=float)
    if numbers.ndim != 1 or not np.isfinite(numbers).all():
        raise ValueError("no row of numbers")
    return numbers


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
