"""The platform's proper folders for settings, nights and caches; nothing is created here.

POLEWRIGHT_HOME puts all three below one folder, for a memory stick or a trial.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

NAME = "polewright"


def config_folder() -> Path:
    """Profiles of rigs and sites, settings."""
    return _below_home("config") or platformdirs.user_config_path(NAME, appauthor=False)


def data_folder() -> Path:
    """Recorded nights."""
    return _below_home("data") or platformdirs.user_data_path(NAME, appauthor=False)


def log_folder() -> Path:
    """The program's own log."""
    return data_folder() / "log"


def cache_folder() -> Path:
    """What can be made again, such as the index of the sky."""
    return _below_home("cache") or platformdirs.user_cache_path(NAME, appauthor=False)


def _below_home(name: str) -> Path | None:
    home = os.environ.get("POLEWRIGHT_HOME")
    return Path(home).expanduser() / name if home else None
