"""A copy of the project to make faults in, so that the tree itself is never touched."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.pyc")


def project_copy(folder: Path) -> Path:
    """Code and tests are copied, resources and what else lies at the top are linked."""
    copy = folder / "project"
    copy.mkdir()
    for name in ("app", "tests"):
        shutil.copytree(PROJECT / name, copy / name, ignore=LEFT_OUT)
    for one in PROJECT.iterdir():
        if one.name not in ("app", "tests", ".venv", ".git"):
            (copy / one.name).symlink_to(one)
    return copy


def environment(copy: Path) -> dict[str, str]:
    """Python finds the copy before the project that is installed, and keeps no compiled files of a fault."""
    own = {"PYTHONPATH": str(copy / "app"), "PYTHONDONTWRITEBYTECODE": "1", "QT_QPA_PLATFORM": "offscreen"}
    return {**os.environ, **own}
