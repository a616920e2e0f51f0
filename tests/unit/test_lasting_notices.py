"""A notice of a condition: told when it begins, put away for good by the person, told again when it begins anew."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from axis_sky import Rig
from night_kit import MOOR, START, MemoryRecorder, engine_of, unsolved_frame
from polewright.core.drift.reading import DriftReading
from polewright.core.model import Frame, Sourced
from polewright.core.night.effects import KeepDrift
from polewright.core.night.events import AnyEvent, Ticked
from polewright.core.night.states import begun
from polewright.core.screws.sky_turn import screw_path
from polewright.runtime.engine import CLOCK_TOPIC, SKY_TOPIC, STALL_TOPIC, NightEngine
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.report.facts import DRIFT_KIND, VIGIL_KIND
from vigil_nights import Run, declination_axis, setup_of, sudden
from watch_night import aligned_events, imaging_events

Switch = Callable[[bool], None]


def stalling(engine: NightEngine) -> Switch:
    return lambda on: engine.folder_stalled(30.0 if on else 0.0)


def turning_sky(engine: NightEngine) -> Switch:
    """Both screws have moved the axis aslant by one angle, or have told nothing yet."""
    turn = math.radians(-19.6)
    east, up = 0.01 * math.cos(turn), 0.01 * math.sin(turn)
    aslant = (screw_path(True, east, up, 1e-5), screw_path(False, up, -east, 1e-5))
    assert aslant[0] is not None and aslant[1] is not None

    def switch(on: bool) -> None:
        state = engine.state
        paths = (aslant[0], aslant[1]) if on else ()
        engine.course.state = replace(begun(state), handling=replace(state.handling, paths=paths))
        engine.post(Ticked(engine.now_s()))

    return switch


class Ahead:
    """A camera whose clock is an hour ahead, or right."""

    def __init__(self) -> None:
        self.clock = VirtualClock(START)
        self.ahead_s = 0.0
        self.engine = engine_of(self.measure, clock=self.clock)
        self.solution = Rig(MOOR, 5.0, 5.0).capture((0.0,), np.random.default_rng(1))[0][2]

    def measure(self, path: Path) -> MeasuredFrame:
        utc = self.clock.utc().plus_seconds(self.ahead_s - 2.0)
        frame = Frame(path.name, np.zeros((48, 64), dtype=np.uint16), Sourced(utc, "header"), Sourced(2.0, "header"))
        return MeasuredFrame(frame, unsolved_frame().stars, self.solution)

    def switch(self, on: bool) -> None:
        self.ahead_s = 3600.0 if on else 0.0
        for k in range(6):
            self.clock.advance(3.0)
            self.engine.frame_arrived(Path(f"{k}.fits"))


def quiet_engine() -> NightEngine:
    return engine_of(lambda path: unsolved_frame(path.name))


def case(topic: str) -> tuple[NightEngine, Switch]:
    if topic == CLOCK_TOPIC:
        camera = Ahead()
        return camera.engine, camera.switch
    engine = quiet_engine()
    return engine, (stalling if topic == STALL_TOPIC else turning_sky)(engine)


@pytest.mark.parametrize("topic", [STALL_TOPIC, SKY_TOPIC, CLOCK_TOPIC])
def test_a_condition_is_told_while_it_lasts_and_stays_put_away(topic: str) -> None:
    engine, switch = case(topic)

    def shown() -> list[int]:
        return [notice.count for notice in engine.notices if notice.topic == topic]

    assert shown() == []
    switch(True)
    switch(True)
    assert shown() == [1], "once, however often it is seen"
    switch(False)
    assert shown() == [], "it is over"
    switch(True)
    assert shown() == [1], "it begins anew"
    engine.dismiss(topic)
    switch(True)
    engine.tick()
    assert shown() == [], "the person has read it and it still lasts"
    switch(False)
    switch(True)
    assert shown() == [1], "it had ended in between"


def test_putting_one_away_leaves_the_other() -> None:
    engine = quiet_engine()
    stalling(engine)(True)
    turning_sky(engine)(True)
    engine.dismiss(SKY_TOPIC)
    engine.tick()
    assert [notice.topic for notice in engine.notices] == [STALL_TOPIC]


def refusing(kind: str) -> MemoryRecorder:
    def refuse(written: str) -> None:
        if written == kind:
            raise ZeroDivisionError("injected")

    return MemoryRecorder(before=refuse)


def moved_mount() -> list[AnyEvent]:
    axis = setup_of(Run(), np.random.default_rng(1))[1]
    run = Run(fields=((-2.0, 35.0, 0.45),), clouds_per_night=0, gusts=0.0)
    return [*aligned_events(), *imaging_events(run, sudden(900.0, 30.0 * declination_axis(axis, -1.75, 35.0)))]


def test_a_shift_that_cannot_be_recorded_costs_that_line_alone() -> None:
    recorder = refusing(VIGIL_KIND)
    engine = engine_of(lambda path: unsolved_frame(), recorder)
    for event in moved_mount():
        engine.post(event)
    assert engine.state.watching is not None and engine.state.watching.vigil.shifts
    assert [notice.topic for notice in engine.notices] == ["fault recording"]
    assert VIGIL_KIND not in recorder.kinds() and "fault" not in recorder.kinds()


def test_a_drift_that_cannot_be_recorded_costs_that_line_alone() -> None:
    recorder = refusing(DRIFT_KIND)
    engine = engine_of(lambda path: unsolved_frame(), recorder)
    reading = DriftReading(20, 1e-4, 0.0, ((1e-10, 0.0), (0.0, 1e-10)), 1e-6, 0.0, 5.0, ())
    engine._carry_out(KeepDrift(reading))
    assert [notice.topic for notice in engine.notices] == ["fault recording"]
    assert recorder.kinds() == ["NightStarted"]
