"""Contrast as it is painted: measured from pixels, by the relative luminance of WCAG 2.2.

In red light at the default brightness every text reaches 4.5:1 against what lies behind it (1.4.3). The main sentence
and the numbers are as bright as red can be: 5.25:1, because the relative luminance of pure red is 0.2126 by that
formula, and (0.2126 + 0.05) / 0.05 = 5.25; 7:1 (1.4.6) would need green or blue, which red light may not have.
"""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QPointF
from PySide6.QtWidgets import QLabel

from polewright.ui.drawing import LEDGER, Drawn
from polewright.ui.main_window import MainWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import BRIGHTNESS_STEPS, Light
from screens.conftest import MakeWindow, rgb
from screens.demo_views import PAGES

FULL_RED = (0.2126 + 0.05) / 0.05
# Strokes narrower than a pixel are painted dimmer than their colour, which tests/screens/test_palettes.py judges: so
# much less is found in the pixels of small letters, and of large ones.
THIN, SMOOTHED, SMALL_BELOW_PX = 0.6, 0.1, 17
DEFAULT = WindowSettings().brightness


def linear(c: np.ndarray) -> np.ndarray:
    """The light of a channel of 0 to 1 (WCAG 2.2)."""
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


LINEAR = linear(np.arange(256) / 255.0)


def luminance(pixels: np.ndarray) -> np.ndarray:
    """Relative luminance (WCAG 2.2) of (..., 3) uint8."""
    return np.asarray(LINEAR[pixels] @ np.array([0.2126, 0.7152, 0.0722]))


def test_formula() -> None:
    """Black and white are 21:1 apart; #777777 on white is 4.48:1, the often quoted limit grey."""
    assert luminance(np.array([255, 255, 255], dtype=np.uint8)) == pytest.approx(1.0)
    grey = luminance(np.array([0x77, 0x77, 0x77], dtype=np.uint8))
    assert 1.05 / (grey + 0.05) == pytest.approx(4.48, abs=0.005)


def contrast_in(crop: np.ndarray) -> float:
    """Of the letters, the farthest from what lies behind them, which is most of the crop."""
    light = luminance(crop).ravel()
    behind = float(np.median(light))
    ratios = (np.maximum(light, behind) + 0.05) / (np.minimum(light, behind) + 0.05)
    return float(ratios.max())


def painted(window: MainWindow) -> tuple[np.ndarray, list[tuple[Drawn, np.ndarray]]]:
    """The window as pixels, and every text in it with its pixels."""
    LEDGER.drawn = []
    window.night.well._ground = None
    picture = rgb(window.grab())
    drawn, LEDGER.drawn = LEDGER.drawn, None
    return picture, [(text, crop) for text in drawn if (crop := _crop(window, picture, text)).size]


def _crop(window: MainWindow, picture: np.ndarray, text: Drawn) -> np.ndarray:
    room = text.room
    if text.kept:
        well = next(w for w in (window.night.well, window.first.well) if w.isVisible())
        room = room.translated(well.mapTo(window, QPointF(0.0, 0.0)))
    x, y, w, h = round(room.x()), round(room.y()), round(room.width()), round(room.height())
    return picture[max(0, y) : y + h, max(0, x) : x + w]


def too_faint(window: MainWindow, name: str, least: float) -> list[str]:
    """Every text that does not reach it."""
    return too_faint_in(window, *painted(window), name, least)


def too_faint_in(
    window: MainWindow, picture: np.ndarray, drawn: list[tuple[Drawn, np.ndarray]], name: str, least: float
) -> list[str]:
    """The same of what was painted before."""
    crops = [(text.text, crop, SMOOTHED if text.pixels >= SMALL_BELOW_PX else THIN) for text, crop in drawn]
    for label in window.findChildren(QLabel):
        if label.isVisible() and label.text():
            at = label.mapTo(window, label.rect().topLeft())
            crop = picture[at.y() : at.y() + label.height(), at.x() : at.x() + label.width()]
            crops.append((label.text(), crop, THIN))
    return [
        f"{name}: {t!r} {contrast_in(crop):.2f}"
        for t, crop, less in crops
        if len(t) > 3 and contrast_in(crop) < least - less  # a letter or an arrow alone may lie between the pixels
    ]


@pytest.mark.parametrize("light", Light)
@pytest.mark.parametrize("size", ((1024, 600), (1366, 768), (1920, 1080)), ids=lambda s: f"{s[0]}x{s[1]}")
def test_every_text_reaches_four_and_a_half(make_window: MakeWindow, light: Light, size: tuple[int, int]) -> None:
    window = make_window(*size, light=light, brightness=DEFAULT)
    found = []
    for name, view in PAGES.items():
        window.show_view(view())
        found += too_faint(window, name, 4.5)
    assert found == []


def test_headline_and_numbers_take_all_that_red_can_give(make_window: MakeWindow) -> None:
    window = make_window(1366, 768, light=Light.RED, brightness=DEFAULT)
    for name in ("rough", "fine", "capture", "proof", "orientation"):
        view = PAGES[name]()
        facts = view.numbers or (view.proof.facts if view.proof else ())
        wanted = {view.instruction.sentence, *(fact.value for fact in facts)}
        for reading in (False, True):
            window.show_view(view)
            window.set_reading(reading)
            for text, crop in painted(window)[1]:
                if text.text.replace("\u00a0", " ") in wanted and text.bold:
                    got = contrast_in(crop)
                    assert got >= FULL_RED - SMOOTHED, f"{name}: {text.text!r} {got:.2f}"
        window.set_reading(False)


def test_the_dimmest_setting_is_still_dim(make_window: MakeWindow) -> None:
    """The brightest pixel has at most a fiftieth of the light of full red, and something is still to be seen."""
    window = make_window(1366, 768, light=Light.RED, brightness=BRIGHTNESS_STEPS[0])
    window.show_view(PAGES["fine"]())
    most = luminance(rgb(window.grab())).max()
    assert 0.0004 < most < 0.2126 / 40.0
