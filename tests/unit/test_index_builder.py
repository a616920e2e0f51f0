"""The index of the sky made ahead of time: in which order, how far, and that a second start has nothing to do."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from polewright.core.matching.layers import LAYERS_PER_SQ_DEG
from polewright.core.matching.work import IndexMade, SolverWork
from polewright.services.index_builder import build_missing, layers_in_order
from polewright.services.sky_index import Progress, SkyIndex
from polewright.ui.driving import index_at_launch
from polewright.ui.driving.index_at_launch import IndexAtLaunch
from sky_solver import shared_catalogue


def test_the_layers_of_the_last_rig_come_first() -> None:
    """A field of 1.5 by 1.1 degrees holds 22 stars at 13 a square degree; one of 24 by 18 degrees at 0.05."""
    assert set(layers_in_order(4.3)[:2]) == {1, 2}
    assert layers_in_order(68.0)[0] == LAYERS_PER_SQ_DEG.index(0.08)
    assert sorted(layers_in_order(None)) == list(range(len(LAYERS_PER_SQ_DEG)))


class Paper(SkyIndex):
    """Makes nothing, remembers what was asked for."""

    made: list[int]

    def is_ready(self, number: int) -> bool:
        return number in self.made

    def layer(self, number: int, progress: Progress | None = None) -> None:  # type: ignore[override]
        work: SolverWork = IndexMade(LAYERS_PER_SQ_DEG[number], "")
        assert progress is not None
        progress(work, 0.0), progress(work, 1.0)
        self.made.append(number)


def test_one_bar_for_the_whole_and_nothing_the_second_time(tmp_path: Path) -> None:
    index, told = Paper(shared_catalogue(), tmp_path), list[float]()
    index.made = [0]
    order = layers_in_order(4.3)
    assert build_missing(index, order, told.append) == len(order) - 1
    assert told == sorted(told) and told[0] == 0.0 and told[-1] == pytest.approx(1.0)
    told.clear()
    assert build_missing(index, order, told.append) == 0 and told == []


def test_a_real_layer_is_made_by_the_process(tmp_path: Path) -> None:
    """The coarsest layer alone: seconds."""
    index = SkyIndex(shared_catalogue(), tmp_path, workers=1)
    assert build_missing(index, [9], lambda share: None) == 1
    assert index.path(9).is_file()


def test_the_window_hears_how_far_it_is_and_when_it_is_over(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = "print('0.250', flush=True); print('0.750', flush=True)"
    monkeypatch.setattr(index_at_launch, "program_command", lambda flag: [sys.executable, "-c", lines])
    told: list[float | None] = []
    index = IndexAtLaunch(told.append)
    index.start(4.3)
    qtbot.waitUntil(lambda: None in told, timeout=20_000)
    assert told[-2:] == [0.75, None]
    index.stop()


def test_one_that_is_stopped_is_gone_and_says_nothing_more(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        index_at_launch, "program_command", lambda flag: [sys.executable, "-c", "import sys; sys.stdin.read()"]
    )
    told: list[float | None] = []
    index = IndexAtLaunch(told.append)
    index.start(None)
    index.stop()
    assert told == [] and index._process.state() is index._process.ProcessState.NotRunning
    index.start(None)
    assert index._process.state() is index._process.ProcessState.NotRunning
