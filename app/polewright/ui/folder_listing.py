"""What lies in a folder, read off the window's thread: a network share may take its time. No Qt."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from polewright.services.frame_reader.families import is_frame_name

MOST_LISTED = 2000


@dataclass(frozen=True)
class Listing:
    """Folders and offered files by name; how many frames; `problem` "" when it could be read."""

    folder: Path
    folders: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    frames: int = 0
    problem: str = ""


def list_folder(folder: Path, endings: tuple[str, ...] = ()) -> Listing:
    """Look into a folder. Hidden names are left out; a folder that cannot be read is a value with its reason."""
    folders: list[str] = []
    files: list[str] = []
    frames = 0
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                if _is_folder(entry):
                    folders.append(entry.name)
                elif endings and entry.name.lower().endswith(endings):
                    files.append(entry.name)
                elif is_frame_name(entry.name):
                    frames += 1
    except OSError as problem:
        return Listing(folder, problem=problem.strerror or str(problem))
    order = sorted(folders, key=str.lower)[:MOST_LISTED], sorted(files, key=str.lower)[:MOST_LISTED]
    return Listing(folder, tuple(order[0]), tuple(order[1]), frames)


def nearest_folder(start: Path) -> Path:
    """The folder itself, or its nearest parent that exists."""
    while not start.is_dir() and start != start.parent:
        start = start.parent
    return start


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
