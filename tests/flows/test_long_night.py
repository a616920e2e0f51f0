"""Hours of frames in virtual time: memory, handles and threads stay, nothing is lost; and a computer that slept."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from endurance import SITE, START, LongNight, endure
from night_kit import MemoryRecorder, engine_of, unsolved_frame
from polewright.core.night.states import Running, Stage, begun
from polewright.runtime.course import Course
from polewright.runtime.engine import STEP_TOPIC
from polewright.runtime.retrace import retrace_to_the_end
from polewright.services.clock import VirtualClock
from polewright.services.night_log import read_night

EXISTING = 2500


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_frames_by_the_hundred_leave_nothing_behind(tmp_path: Path) -> None:
    """The whole night of eight hours is run by tests/bench/long_night.py."""
    with ProcessPoolExecutor(1, get_context("spawn")) as alone:  # other tests leave handles open, and let them go
        found = alone.submit(endure, tmp_path, 200, 20, EXISTING).result()
    assert found.frames_arrived == 200 and found.faults == 0
    assert found.stage in (Stage.ROUGH, Stage.FINE)
    assert found.memory_growth() < 0.05
    assert len({sample.handles for sample in found.samples}) == 1
    assert len({sample.threads for sample in found.samples}) == 1


def slept(tmp_path: Path, both_clocks: bool) -> tuple[LongNight, Running]:
    """Forty frames, two hours without any, and twenty more; the state before these."""
    night = LongNight(tmp_path)
    night.begin()
    for number in range(1, 41):
        night.visit(number)
        night.one_second(number)
    before = begun(night.engine.state)
    assert before.offset is not None
    if both_clocks:
        night.clock.advance(7200.0)
    else:
        night.clock.jump_utc(7200.0)
    for number in range(7241, 7261):
        night.one_second(number)
    assert night.engine.state.frames_used == before.frames_used + 20
    night.recorder.close()
    course, log = Course(), read_night(night.night)
    retrace_to_the_end(course, log)
    assert course.state == night.engine.state
    times = [line.t_s for line in log.events]
    assert times == sorted(times)
    return night, before


def test_a_computer_that_slept_goes_on_where_it_was(tmp_path: Path) -> None:
    night, before = slept(tmp_path, both_clocks=True)
    after = night.engine.state
    assert after.stage is before.stage
    assert before.offset is not None and after.offset is not None and night.engine.notices == ()
    assert after.offset.east_rad == pytest.approx(before.offset.east_rad, abs=3e-4)
    assert after.offset.up_rad == pytest.approx(before.offset.up_rad, abs=3e-4)


def test_where_the_stopwatch_slept_too_the_axis_is_measured_anew(tmp_path: Path) -> None:
    """Then waking cannot be told from a clock that was set forwards; services/clock.py chooses one that goes on."""
    night, _ = slept(tmp_path, both_clocks=False)
    assert night.engine.state.stage is Stage.CAPTURE
    assert [notice.topic for notice in night.engine.notices] == [STEP_TOPIC]


def test_the_night_of_the_endurance_run_is_dark() -> None:
    from polewright.core.sky.sun import sun_altitude_rad

    assert all(sun_altitude_rad(START.plus_seconds(3600.0 * h), SITE) < -0.1 for h in range(9))


def test_a_clock_that_only_ticks_fills_nothing() -> None:
    recorder = MemoryRecorder()
    clock = VirtualClock(START)
    engine = engine_of(lambda path: unsolved_frame(path.name), recorder, clock=clock)
    for _ in range(500):
        clock.advance(1.0)
        engine.tick()
    assert len(recorder.lines) == 501 and engine.state.undo is None
