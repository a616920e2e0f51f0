"""Where the files that ship with the program are: an installed wheel, a frozen build, or a checkout.

Decided 2026-11-25. The user guide is a resource. The top level is fixed, and the guide must ship with the program.
It lies in resources/guide as Markdown; a test runs its commands, compares its transcripts and looks its quotations
up. packaging/ is not shipped; a folder of documents at the top level is not wanted; help written into the window
would be a second text to keep.
"""

from __future__ import annotations

import sys
from pathlib import Path

import polewright


def resource_folders() -> tuple[Path, ...]:
    """Folders that may hold the program's data files, in the order they are searched."""
    package = Path(polewright.__file__).resolve().parent
    folders = [package / "resources"]  # a wheel; also a frozen build that keeps the package layout
    frozen = getattr(sys, "_MEIPASS", None)
    if frozen is not None:
        folders += [Path(frozen) / "polewright" / "resources", Path(frozen) / "resources"]
    folders.append(package.parents[1] / "resources")  # a checkout: app/polewright beside resources
    return tuple(folders)


def find_resource(name: str) -> Path | None:
    """The data file or folder called `name` (slashes allowed), or None where it is missing."""
    return next((folder / name for folder in resource_folders() if (folder / name).exists()), None)
