"""The computer's clock is set while a night runs: an hour forwards or back, with the frames' times or without."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from flows.test_mended_nights import (
    RETURN,
    ZONE_S,
    LateClock,
    begin,
    late_clock_bench,
    missed_arcmin,
    running,
)
from polewright.core.night.states import Stage
from polewright.runtime.retrace import CheckedReplay
from polewright.services.night_log import read_night
from window_in_virtual_time import Bench, InlinePractice, turn_axis


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    yield from late_clock_bench(tmp_path)


WAYS = pytest.mark.parametrize("step_s", [ZONE_S, -ZONE_S], ids=["forwards", "back"])


def while_a_screw_is_to_be_turned(bench: Bench) -> InlinePractice:
    practice = begin(bench)
    bench.key(RETURN)
    turn_axis(bench, practice)
    bench.until(lambda view: any(strip.active for strip in view.strips), 240.0)
    assert missed_arcmin(bench, practice) < 0.1
    return practice


@WAYS
def test_a_clock_set_under_a_camera_with_its_own_is_told_and_moves_nothing(bench: Bench, step_s: float) -> None:
    practice = while_a_screw_is_to_be_turned(bench)
    bench.clock.jump_utc(step_s)
    for _ in range(12):
        bench.wait(2.0)
        assert missed_arcmin(bench, practice) < 0.1
    assert bench.view.trouble is not None and running(bench).stage is Stage.ROUGH
    way = "behind" if step_s > 0.0 else "ahead of"
    assert bench.view.trouble.cause.startswith(f"Frame times are 1 h {way} this computer's clock")


@WAYS
def test_frames_that_follow_the_clock_are_measured_anew(bench: Bench, step_s: float) -> None:
    """An hour turns the sky by 15 degrees, and an axis measured before it about the pole: 11\u2032 at 41\u2032."""
    practice = while_a_screw_is_to_be_turned(bench)
    assert isinstance(bench.sky, LateClock)
    bench.clock.jump_utc(step_s)
    bench.sky.ahead_s = step_s
    for _ in range(20):
        bench.wait(0.5)
        assert running(bench).offset is None or missed_arcmin(bench, practice) < 0.1, "nothing false on the way"
    assert running(bench).stage is Stage.CAPTURE and running(bench).capture.axis is None
    assert bench.view.trouble is not None
    way = "forwards" if step_s > 0.0 else "back"
    assert bench.view.trouble.cause.startswith(f"This computer's clock was set 1 h {way}")
    bench.sky.ahead_s = 0.0
    bench.clock.jump_utc(-step_s)
    bench.wait(20.0)
    turn_axis(bench, practice)
    assert missed_arcmin(bench, practice) < 0.1, "set right again and measured again"
    replay = CheckedReplay()
    for line in read_night(Path(bench.driver._remembered.open_night)).events:
        replay.take(line)
    assert replay.numbers_checked > 5 and replay.differences == []
