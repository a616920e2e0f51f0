"""Folders by date below the frame folder: many camera programs begin one every night, and some a year or a target.

Only names that hold a date (or are a year, a month, a day) are followed, the newest first, and what lies inside them
but calibration frames: whoever chose a folder with other folders below meant one of them, and is told so.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path, PurePath

NEWEST_DATES = 3  # of one folder: chosen; a night before last is history
MOST_FOLLOWED = 12  # in all: chosen; every one is looked at twice a second
DEEPEST = 3  # date, target, kind of frame (common practice, no source)
YEAR, MONTH, DAY = r"(?:19|20)\d\d", r"(?:0[1-9]|1[0-2])", r"(?:0[1-9]|[12]\d|3[01])"
YEAR_FIRST = re.compile(rf"(?<!\d)({YEAR})[-_. ]?({MONTH})[-_. ]?({DAY})(?!\d)")
DAY_FIRST = re.compile(rf"(?<!\d)({DAY})[-_. ]?({MONTH})[-_. ]?({YEAR})(?!\d)")
PART_OF_A_DATE = re.compile(rf"{YEAR}(?:[-_. ]?{MONTH})?|\d\d?")
# a word of its own, not a part of a place's name; a park or a site may be dark all the same
CALIBRATION = re.compile(
    r"(?<![a-z])(?:master|sky|dome|twilight)?[-_ ]?(?:dark|flat|bias)(?:dark|flat)?(?:e?s)?(?:frames?)?(?![a-z])"
    r"(?![-_ ]*(?:sky|skies|site|park|reserve|place)(?![a-z]))",
    re.IGNORECASE,
)


def date_in(name: str) -> tuple[int, ...] | None:
    """(year, month, day) of a folder's name, or the part of a date that the whole name is; None for any other."""
    found = YEAR_FIRST.search(name)
    if found:
        return tuple(int(part) for part in found.groups())
    found = DAY_FIRST.search(name)
    if found:
        return tuple(int(part) for part in reversed(found.groups()))
    if PART_OF_A_DATE.fullmatch(name):
        return tuple(int(part) for part in re.findall(r"\d+", name))
    return None


def to_follow(names: list[str], inside: bool) -> tuple[list[str], list[str]]:
    """Which of a folder's sub-folders are followed, the newest first, and which by date are left out.

    `inside`: the folder is itself below the one that was chosen.
    """
    sky = [name for name in names if not CALIBRATION.search(name)]
    dated = sorted((name for name in sky if date_in(name)), key=lambda name: date_in(name) or (), reverse=True)
    others = sorted(name for name in sky if not date_in(name)) if inside else []
    return [*dated[:NEWEST_DATES], *others], dated[NEWEST_DATES:]


class DatedFolders:
    """One walk after the other through a folder and those by date below it.

    Attributes, of the latest walk, all relative to the folder: `followed` (newest first), `left_out` (by date, but
    too many), `passed` (other sub-folders), `others` (endings of files that are no frames, and how many of each).
    """

    def __init__(self, folder: Path, most: int = MOST_FOLLOWED) -> None:
        self._folder = str(folder)
        self._most = most
        self.followed: list[str] = []
        self.left_out: list[str] = []
        self.passed: list[str] = []
        self.others: Counter[str] = Counter()

    def walk(self, is_frame: Callable[[str, str], bool]) -> Iterator[tuple[str, str]]:
        """(name relative to the folder, path) of every frame; OSError when the folder itself cannot be listed.

        `is_frame` gets the relative name and its last part.
        """
        self.followed, self.left_out, self.passed, self.others = [], [], [], Counter()
        waiting = [""]
        while waiting:
            folder = waiting.pop()
            if folder and len(self.followed) == self._most:
                self.left_out.append(folder)
                continue
            if folder:
                self.followed.append(folder)
            below: list[str] = []
            try:
                yield from self._scan(folder, is_frame, below)
            except OSError:
                if not folder:
                    raise  # a sub-folder may vanish or be closed to us; the folder itself may not
            waiting += reversed(self._wanted(folder, below))

    def _scan(self, folder: str, is_frame: Callable[[str, str], bool], below: list[str]) -> Iterator[tuple[str, str]]:
        prefix = folder + os.sep if folder else ""
        with os.scandir(Path(self._folder) / folder) as entries:
            for entry in entries:
                if is_frame(prefix + entry.name, entry.name):
                    yield prefix + entry.name, entry.path
                elif entry.name.startswith("."):
                    continue
                elif entry.is_dir(follow_symlinks=False):
                    below.append(entry.name)
                else:
                    self.others[PurePath(entry.name).suffix.lower()] += 1

    def _wanted(self, folder: str, below: list[str]) -> list[str]:
        """The sub-folders of `folder` to go on with."""
        wanted, left_out = to_follow(below, bool(folder))
        if not folder:
            self.passed = sorted(set(below) - set(wanted) - set(left_out))
        if not self._most or folder.count(os.sep) + bool(folder) >= DEEPEST:
            return []
        prefix = folder + os.sep if folder else ""
        self.left_out += [prefix + name for name in left_out]
        return [prefix + name for name in wanted]
