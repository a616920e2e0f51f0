"""How fast the window draws, as ratios to a floor in the same run: a blank widget of the same size.

`pytest tests/bench/test_bench_window.py --benchmark-only`
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QApplication
from pytest_benchmark.fixture import BenchmarkFixture
from pytestqt.qtbot import QtBot

from polewright.ui.main_window import MainWindow
from polewright.ui.panel import Panel
from polewright.ui.reticle import ReticleWidget
from polewright.ui.view_model import Point
from screens.demo_views import PAGES


class Blank(Panel):
    """Fills its ground and nothing else: the floor."""

    def draw(self, painter: QPainter, box: QRectF) -> None:
        """Nothing."""


def canvas(side: int) -> QImage:
    return QImage(side, side, QImage.Format.Format_RGB32)


@pytest.mark.parametrize("side", [560, 900])
def test_floor_blank_widget(benchmark: BenchmarkFixture, qtbot: QtBot, side: int) -> None:
    widget = Blank()
    qtbot.addWidget(widget)
    widget.resize(side, side)
    image = canvas(side)
    benchmark.group = f"paint {side} px"
    benchmark(widget.render, image)


@pytest.mark.parametrize("side", [560, 900])
def test_well_during_a_motion(benchmark: BenchmarkFixture, qtbot: QtBot, side: int) -> None:
    """One frame of the marker's glide; 60 a second leave 16.7 ms."""
    widget = ReticleWidget()
    qtbot.addWidget(widget)
    widget.resize(side, side)
    reticle = PAGES["fine"]().reticle
    widget.show_reticle(reticle)
    image = canvas(side)
    places = iter(range(10**9))

    def frame() -> None:
        widget.animated = False
        widget.show_reticle(replace(reticle, axis=Point(5.0 + next(places) % 50, 3.0), reading_id=1))
        widget.render(image)

    benchmark.group = f"paint {side} px"
    benchmark(frame)


def test_a_fresh_view_with_a_fresh_frame(benchmark: BenchmarkFixture, qtbot: QtBot) -> None:
    """A new reading on the running window: everything that changes, until it is painted."""
    window = MainWindow()
    qtbot.addWidget(window)
    window.night.well.animated = False
    window.resize(1280, 800)
    window.show()
    view = PAGES["fine"]()
    turn = iter(range(10**9))
    assert view.frame is not None and view.timeline is not None

    def reading() -> None:
        i = next(turn)
        fresh = replace(
            view,
            reticle=replace(view.reticle, axis=Point(5.0 + i % 50, 3.0), reading_id=i),
            frame=view.frame and replace(view.frame, age_text=f"{i} s old"),
            timeline=view.timeline and replace(view.timeline),
        )
        window.show_view(fresh)
        QApplication.processEvents()

    benchmark.group = "a reading on the screen, 1280 x 800"
    benchmark(reading)


def test_switching_to_red_light(benchmark: BenchmarkFixture, qtbot: QtBot) -> None:
    window = MainWindow()
    qtbot.addWidget(window)
    window.show()
    window.show_view(PAGES["fine"]())
    benchmark.group = "red light on or off"

    def switch() -> None:
        window._toggle_red()
        QApplication.processEvents()

    benchmark(switch)
    if window._red:
        window._toggle_red()
