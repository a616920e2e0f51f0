"""What the window remembers from one start to the next: its own settings, the form, the night that is open."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from polewright.core.errors import SettingsError
from polewright.services.atomic_file import unused_name, write_atomically
from polewright.services.program_log import LOG
from polewright.services.regular_file import read_regular
from polewright.ui.driving.form import AIR, FIELDS, Known
from polewright.ui.intents import FillForm
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light
from polewright.words.window import settings_set_aside, settings_stay

FILE = "window.json"
KEPT = tuple(name for name in FIELDS if name not in (*AIR, "clock"))  # the clock is the rig's


@dataclass(frozen=True)
class Remembered:
    """`open_night` is the folder of a night that was not left, "" for none; its frames come from `open_frames`."""

    settings: WindowSettings = field(default_factory=WindowSettings)
    form: Known = field(default_factory=Known)
    open_night: str = ""
    open_frames: str = ""
    problem: str = ""  # why nothing, or not everything, was remembered


def remember(folder: Path, what: Remembered) -> None:
    """Write it; SettingsError when that fails."""
    settings = {**asdict(what.settings), "light": what.settings.light.value}
    form = {name: getattr(what.form, name) for name in KEPT}
    nights = {"open_night": what.open_night, "open_frames": what.open_frames}
    text = json.dumps({"settings": settings, "form": form, **nights}, indent=2)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_atomically(folder / FILE, (text + "\n").encode("utf-8"))
    except OSError as error:
        raise SettingsError(f"Settings cannot be saved in {folder}: {error.strerror or error}.") from error


def recall(folder: Path) -> Remembered:
    """What was remembered; a damaged file is set aside and everything begins anew."""
    path = folder / FILE
    try:
        return _read(json.loads(read_regular(path)))
    except FileNotFoundError:
        return Remembered()
    except Exception as error:  # whatever is in it: nothing of the settings may keep the window from opening
        LOG.warning("the settings in %s cannot be used: %r", path, error)
        return Remembered(problem=_set_aside(path))


def _set_aside(path: Path) -> str:
    """Move the file out of the way; the sentence about it."""
    aside = unused_name(path, "damaged")
    try:
        path.rename(aside)
    except OSError:
        return settings_stay(str(path))
    return settings_set_aside(aside.name, str(path.parent))


def _read(data: Any) -> Remembered:
    settings, form = data["settings"], data["form"]
    brightness = float(settings["brightness"])
    if not 0.0 < brightness <= 1.0:
        raise ValueError(f"a brightness of {brightness}")
    known = Known().filled(replace(FillForm(), **{name: str(form.get(name, "")) for name in KEPT}))
    return Remembered(
        WindowSettings(
            Light(settings["light"]),
            brightness,
            bool(settings["sound"]),
            bool(settings["speech"]),
            bool(settings.get("told", False)),
        ),
        replace(
            known,
            typed=frozenset(),
            site_from="as last time" if known.latitude else "",
            optics_from="as last time" if known.focal_length else "",
        ),
        str(data.get("open_night", "")),
        str(data.get("open_frames", "")),
    )
