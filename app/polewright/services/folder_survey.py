"""What lies in the frame folder while nothing arrives: how much, how old, of which kinds, and what lies below it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from polewright.services.frame_reader.families import is_frame_name

MOST_PEEKED, MOST_COUNTED = 20, 1000  # sub-folders, and entries in each: a glance, also over a network (chosen)


@dataclass(frozen=True)
class FolderSurvey:
    """`newest_s`: when the newest frame was written, Unix time by the file server's clock; None without frames.

    `others`: (ending, how many) of files that are no frames. `followed`: names of the folders by date that are
    watched as well; `left_out` counts those that are too many. `below`: (name, frames) of other sub-folders that hold
    frames.
    """

    folder: Path
    frames: int = 0
    newest_s: float | None = None
    others: tuple[tuple[str, int], ...] = ()
    followed: tuple[str, ...] = ()
    left_out: int = 0
    below: tuple[tuple[str, int], ...] = ()


def frames_below(folder: Path, names: Sequence[str]) -> tuple[tuple[str, int], ...]:
    """Those of the sub-folders that hold frames, and how many (at most MOST_COUNTED); unreadable ones are passed."""
    counted = ((name, _frames_in(folder / name)) for name in names[:MOST_PEEKED])
    return tuple((name, count) for name, count in counted if count)


def _frames_in(folder: Path) -> int:
    count = 0
    try:
        with os.scandir(folder) as entries:
            for number, entry in enumerate(entries):
                if number == MOST_COUNTED:
                    break
                count += is_frame_name(entry.name)
    except OSError:
        return 0
    return count
