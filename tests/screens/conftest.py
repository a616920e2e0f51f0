"""The real window with invented views, and what must be true of it after every test."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from polewright.ui.drawing import LEDGER
from polewright.ui.main_window import MainWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light

MakeWindow = Callable[..., MainWindow]


@pytest.fixture
def make_window(qtbot: QtBot) -> Iterator[MakeWindow]:
    """Makes windows of a size and a light, shown, with the plot loaded and all motion switched off."""
    made: list[MainWindow] = []

    def make(width: int = 1280, height: int = 800, light: Light = Light.DAY, brightness: float = 1.0) -> MainWindow:
        window = MainWindow(WindowSettings(light, brightness))
        window.night.well.animated = False
        window.resize(width, height)
        window.show()
        QApplication.processEvents()
        LEDGER.overflows.clear()
        made.append(window)
        return window

    yield make
    for window in made:
        window.close()
        window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    while QApplication.overrideCursor() is not None:
        QApplication.restoreOverrideCursor()
    QApplication.processEvents()
    gc.collect()


def rgb(picture: QPixmap | QImage) -> np.ndarray:
    """Pixels as (H, W, 3) uint8."""
    image = picture.toImage() if isinstance(picture, QPixmap) else picture
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    lines = np.frombuffer(image.constBits(), dtype=np.uint8).reshape(image.height(), image.bytesPerLine())
    return lines[:, : 3 * image.width()].copy().reshape(image.height(), image.width(), 3)
