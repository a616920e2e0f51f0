"""Whole nights on paper, from state to screen: every sentence, number and button fits the smallest window."""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from paper_night import PaperNight
from polewright.core.night.advise import advise
from polewright.core.night.events import AnyEvent
from polewright.ui.drawing import LEDGER
from polewright.ui.main_window import MainWindow
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.view_model import Page, View
from screens.demo_views import PAGES, frame_picture, timeline

SLOT_S = 0.050


class Watched(PaperNight):
    """Keeps a view of each kind of moment: stage, what is asked for, and the mood it is said in."""

    def feed(self, event: AnyEvent) -> None:
        super().feed(event)
        advice = advise(self.state)
        moments: dict[tuple[object, ...], View] = self.__dict__.setdefault("moments", {})
        key = (self.state.stage, type(advice.action), advice.mood)
        if key not in moments:
            moments[key] = present(self.state, advice, Extras(self.state.now_s, "Heath farm · 240 mm guide scope"))


@pytest.fixture
def window(qtbot: QtBot) -> Iterator[MainWindow]:
    made = MainWindow()
    qtbot.addWidget(made)
    made.night.well.animated = False
    made.resize(1024, 700)
    made.show()
    QApplication.processEvents()
    yield made


@pytest.mark.parametrize(("seed", "lat_deg"), [(1, 52.0), (2, -33.0)])
def test_every_moment_of_a_night_fits(window: MainWindow, seed: int, lat_deg: float) -> None:
    night = Watched(seed, latitude_deg=lat_deg)
    night.run()
    moments: dict[tuple[object, ...], View] = night.__dict__["moments"]
    assert len({key[0] for key in moments}) == 5, "all five stages were seen"
    for key, view in moments.items():
        line = None if view.page is Page.ORIENTATION else timeline(300.0)
        window.show_view(replace(view, frame=frame_picture(), timeline=line))
        for reading in (False, True):
            window.set_reading(reading)
            LEDGER.overflows.clear()
            window.grab()
            assert LEDGER.overflows == [], f"{key}: {view.instruction.sentence}"
        window.set_reading(False)


def test_no_slot_holds_up_the_window(window: MainWindow) -> None:
    """Showing any view after any other takes under 50 ms of the window's own thread (its processor time, so that a
    busy machine does not matter)."""
    for view in PAGES.values():
        window.show_view(view())
        window.grab()
    slowest = 0.0
    for view in PAGES.values():
        fresh = replace(view(), timeline=timeline(900.0)) if view().timeline is not None else view()
        gc.collect()
        began = time.thread_time()
        window.show_view(fresh)
        slowest = max(slowest, time.thread_time() - began)
    assert slowest < SLOT_S


@pytest.mark.slow
def test_two_thousand_frames_do_not_fill_the_memory(window: MainWindow) -> None:
    """A fresh picture, timeline and reading each time; the process grows by less than 12 MB after the first 200."""
    view = PAGES["fine"]()
    rng = np.random.default_rng(1)
    after_warming = 0
    for i in range(2000):
        assert view.frame is not None
        picture = replace(view.frame, pixels=rng.integers(0, 255, (480, 640), dtype=np.uint8))
        place = replace(view.reticle, reading_id=i)
        window.show_view(replace(view, frame=picture, timeline=timeline(60.0 + i), reticle=place))
        QApplication.processEvents()
        if i == 200:
            gc.collect()
            after_warming = resident_bytes()
    gc.collect()
    assert resident_bytes() - after_warming < 12_000_000


def resident_bytes() -> int:
    """Memory of this process that is really in use (Linux)."""
    statm = Path("/proc/self/statm")
    if not statm.exists():
        pytest.skip("memory is measured on Linux only")
    return int(statm.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
