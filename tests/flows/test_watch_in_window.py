"""The imaging run in the real window: watched quietly, a kick is told, and answered by keys."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from polewright.core.model import TargetPole
from polewright.core.night import events
from polewright.core.night.advice import Mood
from polewright.core.night.events import NOW, TargetChanged
from polewright.ui import intents as want
from polewright.ui.driving.night_scene import NightScene
from polewright.ui.listening import phrase_for
from polewright.ui.sound_plan import MOVED
from polewright.ui.view_model import Page
from sky_solver import shared_catalogue, shared_solver
from vigil_nights import SITE, Run, declination_axis, setup_of, sudden
from watch_night import aligned_events, imaging_events
from window_in_virtual_time import Bench, Sky, virtual_clock

RUN = Run(fields=((-2.0, 35.0, 0.4),), clouds_per_night=0, gusts=0.0)
KICK_S = 900.0


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()


def test_the_imaging_run_is_watched_by_keys(bench: Bench, tmp_path: Path) -> None:
    (tmp_path / "frames").mkdir()
    bench.driver.begin()
    bench.driver.act(want.FillForm("47", "8", "400", "240", "5", str(tmp_path / "frames")))
    bench.key(Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert isinstance(bench.driver.scene, NightScene)
    engine = bench.desk.engine
    engine.post(TargetChanged(0.5, TargetPole.TRUE, math.radians(SITE.lat_deg)))
    for event in aligned_events()[1:]:
        engine.post(event)
    assert bench.view.page is Page.PROOF and bench.view.instruction.sentence.startswith("Accepted")
    axis = setup_of(Run(), np.random.default_rng(1))[1]
    base = sudden(KICK_S, 90.0 * declination_axis(axis, RUN.fields[0][0] + KICK_S / 3600.0, 35.0))
    frames = list(imaging_events(RUN, base))
    kick = next(i for i, event in enumerate(frames) if event.at_s >= 600.0 + KICK_S)
    for event in frames[:kick]:
        engine.post(event)
    quiet = bench.view
    assert quiet.instruction.sentence == "Watching. Keep imaging." and quiet.instruction.tone is Mood.GOOD
    assert quiet.proof is not None and [fact.label for fact in quiet.proof.facts][-1] == "shifts"
    bench.key(Qt.Key.Key_G)
    assert engine.state.watching is not None and engine.state.watching.guided is True
    bench.key(Qt.Key.Key_G)
    assert engine.state.watching is not None and engine.state.watching.guided is False
    for event in frames[kick:]:
        engine.post(event)
    told = bench.view
    assert told.instruction.sentence == "The mount was moved. Measure again."
    assert told.instruction.tone is Mood.TROUBLE
    assert told.proof is not None and told.proof.facts[-1].value == "90″"
    assert phrase_for(quiet, told) == MOVED
    bench.key(Qt.Key.Key_F)
    assert bench.view.instruction.sentence == "Watching. Keep imaging."
    bench.driver.act(want.ChooseFolder(tmp_path / "frames"))
    assert bench.desk.watched == tmp_path / "frames"
    bench.driver.act(events.TripodBumped(NOW))
    assert bench.view.page is Page.CAPTURE and engine.state.watching is None
