"""No painted label lies on another, on any page, at any supported size."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QRectF

from polewright.ui.drawing import LEDGER, Drawn
from polewright.ui.main_window import MainWindow
from screens.conftest import MakeWindow
from screens.demo_views import PAGES
from screens.test_text_fits import SIZES

EDGE = 0.2  # of a line's height, above and below its letters, is empty


def letters(room: QRectF) -> QRectF:
    """Where there is ink in a line's room."""
    return room.adjusted(0.0, EDGE * room.height(), 0.0, -EDGE * room.height())


def on_each_other(drawn: list[Drawn]) -> list[tuple[str, str]]:
    """Pairs of texts whose letters share some room."""
    inside = [(one.text, letters(one.room)) for one in drawn if not one.kept]
    return [(a, b) for (a, one), (b, other) in itertools.combinations(inside, 2) if one.intersects(other)]


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_no_label_lies_on_another(make_window: MakeWindow, size: tuple[int, int]) -> None:
    window = make_window(*size)
    for name, view in PAGES.items():
        window.show_view(view())
        assert on_each_other(drawn_in(window)) == [], name


def drawn_in(window: MainWindow) -> list[Drawn]:
    """All text that is painted for the page on show."""
    LEDGER.drawn = []
    try:
        window.grab()
        return LEDGER.drawn
    finally:
        LEDGER.drawn = None


@pytest.mark.parametrize("size", ((1024, 600), (1366, 768), (3840, 2160)), ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_rows_of_the_screws_keep_clear_of_the_scale(make_window: MakeWindow, size: tuple[int, int]) -> None:
    """Wherever the night began: the highest name of the scale comes close to the rows of the screws in some."""
    window, view = make_window(*size), PAGES["fine"]()
    assert view.timeline is not None
    for first_arcmin in np.geomspace(1.5, 400.0, 40):
        total = np.full_like(view.timeline.total_arcmin, 0.5)
        total[0] = first_arcmin
        window.show_view(replace(view, timeline=replace(view.timeline, total_arcmin=total)))
        assert on_each_other(drawn_in(window)) == [], first_arcmin
