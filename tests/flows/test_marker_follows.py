"""While a screw turns the marker moves with every frame: an eye that leads a hand must see it follow."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from flows.test_mended_nights import RETURN, begin, late_clock_bench, running
from polewright.practice.world import RehearsalWorld
from window_in_virtual_time import Bench, InlinePractice, turn_axis

GLANCE_S = 0.1
TURNED_S = 40.0


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    yield from late_clock_bench(tmp_path)


def seen_while_turning(bench: Bench, practice: InlinePractice, rate_arcmin_s: float) -> list[tuple[object, int]]:
    """At each glance where the marker stands, and how many frames have been used."""
    seconds = min(TURNED_S, 120.0 / rate_arcmin_s)

    def turn(world: RehearsalWorld) -> None:
        turns = rate_arcmin_s * seconds / abs(world.rig.night.mount.azimuth.arcmin_per_turn)
        world.rig.turn("azimuth", turns, world.now(), seconds)

    practice.ask(turn)
    seen: list[tuple[object, int]] = []
    for _ in range(round(seconds / GLANCE_S)):
        bench.clock.advance(GLANCE_S)
        reticle = bench.view.reticle
        assert reticle is not None
        seen.append((reticle.axis, running(bench).frames_used))
    return seen


@pytest.mark.parametrize("rate_arcmin_s", [0.5, 5.5])
@pytest.mark.parametrize(("brisk", "interval_s"), [(False, 3.0), (True, 1.5)])
def test_the_marker_is_never_still_for_longer_than_a_frame_while_a_screw_turns(
    bench: Bench, rate_arcmin_s: float, brisk: bool, interval_s: float
) -> None:
    """Each frame moves it, glide and all left to the window: `interval_s` is the camera's, from frame to frame."""
    practice = begin(bench)
    bench.key(RETURN)
    turn_axis(bench, practice)
    bench.until(lambda view: any(strip.active for strip in view.strips), 240.0)
    if brisk:
        practice.ask(RehearsalWorld.work_briskly)
        bench.wait(6.0)
    seen = seen_while_turning(bench, practice, rate_arcmin_s)
    runs = [len(list(group)) for _, group in itertools.groupby(marker for marker, _ in seen)]
    assert max(runs) * GLANCE_S <= interval_s + GLANCE_S, runs
    assert seen[-1][1] - seen[0][1] >= 0.9 * len(seen) * GLANCE_S / interval_s - 1.0, "no frame is left unused"
