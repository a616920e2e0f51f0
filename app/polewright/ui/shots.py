"""Pictures of the window's pages as PNG files, day and red light, at given sizes. Works without a screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from PySide6.QtWidgets import QApplication

from polewright.core.errors import UsageError
from polewright.ui.main_window import MainWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light
from polewright.ui.view_model import View

SIZES = ((1280, 800), (1920, 1080))


def parse_sizes(text: str) -> tuple[tuple[int, int], ...]:
    """ "1280x800,1920x1080" as pairs; UsageError names what cannot be read."""
    sizes = []
    for part in text.split(","):
        width, _, height = part.strip().lower().partition("x")
        if not (width.isdigit() and height.isdigit()):
            raise UsageError(f"'{part}' is not a size: write WIDTHxHEIGHT, as in 1280x800.")
        sizes.append((int(width), int(height)))
    return tuple(sizes)


def take_one(path: Path, view: View, light: Light, size: tuple[int, int], reading: bool = False) -> Path:
    """One picture, in a window of its own; the application must exist."""
    window = MainWindow(WindowSettings(light, 1.0))
    try:
        window.night.well.animated = False
        window.resize(*size)
        window.show_view(view)
        window.set_reading(reading)
        window.show_plan_page()
        window.ensurePolished()
        QApplication.processEvents()
        if not window.grab().save(str(path)):
            raise UsageError(f"{path} cannot be written. Choose a folder that you may write to.")
    finally:
        window.close()
        window.deleteLater()
    return path


def take_all(folder: Path, views: Mapping[str, View], sizes: Sequence[tuple[int, int]] = SIZES) -> list[Path]:
    """Every named view at every size in every light, and the reading mode of those that have screws to turn."""
    folder.mkdir(parents=True, exist_ok=True)
    return [
        take_one(folder / f"{name}{suffix}-{light.value}-{size[0]}x{size[1]}.png", view, light, size, bool(suffix))
        for name, view in views.items()
        for suffix in (("", "-reading") if view.strips and view.plan is None else ("",))
        for light in Light
        for size in sizes
    ]
