"""Pictures of the window's pages as PNG files, day and red light, at given sizes. Works without a screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
            raise UsageError(f"'{part}' is no size: write WIDTHxHEIGHT, as in 1280x800.")
        sizes.append((int(width), int(height)))
    return tuple(sizes)


class Camera:
    """Takes pictures of views, each in a window of its own; the application must exist."""

    def __init__(
        self, folder: Path, sizes: Sequence[tuple[int, int]] = SIZES, lights: Iterable[Light] = Light
    ) -> None:
        self.folder = folder
        self.sizes = tuple(sizes)
        self.lights = tuple(lights)
        self.taken: list[Path] = []

    def take(self, name: str, view: View, reading: bool = False) -> list[Path]:
        """One view at every size in every light; returns the files written."""
        self.folder.mkdir(parents=True, exist_ok=True)
        written = []
        for light in self.lights:
            for width, height in self.sizes:
                path = self.folder / f"{name}-{light.value}-{width}x{height}.png"
                self._take_one(path, view, light, (width, height), reading)
                written.append(path)
        self.taken += written
        return written

    def _take_one(self, path: Path, view: View, light: Light, size: tuple[int, int], reading: bool) -> None:
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


def take_all(folder: Path, views: Mapping[str, View], sizes: Sequence[tuple[int, int]] = SIZES) -> list[Path]:
    """Every named view, and the reading mode of those that have screws to turn."""
    camera = Camera(folder, sizes)
    for name, view in views.items():
        camera.take(name, view)
        if view.strips and view.plan is None:
            camera.take(f"{name}-reading", view, reading=True)
    return camera.taken
