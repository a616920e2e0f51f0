"""Which frames follow a clock that is set, and what only looks like one."""

from __future__ import annotations

import time
from collections.abc import Iterable

import pytest

from polewright.runtime.clock_steps import FRAMES_TO_FOLLOW, STEP_S, ClockSteps
from polewright.services.clock import SystemClock

HOUR_S = 3600.0


def seen(frames: Iterable[tuple[float, float]]) -> list[float | None]:
    """Each frame (the clock minus durations, the frame minus the clock) by a watcher that has seen none before."""
    steps = ClockSteps()
    return [steps.followed_s(clock_s, frame_s) for clock_s, frame_s in frames]


@pytest.mark.parametrize("step_s", [HOUR_S, -HOUR_S, 120.0, -86400.0])
def test_frames_exposed_before_the_step_do_not_hide_those_that_follow_it(step_s: float) -> None:
    late = [(step_s, -8.0 - step_s)] * 2
    assert seen([(0.0, -6.0), *late, (step_s, -7.0), (step_s, -6.0)]) == [None, None, None, step_s, None]


@pytest.mark.parametrize("step_s", [HOUR_S, -HOUR_S])
def test_a_camera_with_its_own_clock_does_not_follow_even_if_it_is_met_later(step_s: float) -> None:
    own = [(step_s, -6.0 - step_s)] * (FRAMES_TO_FOLLOW + 1)
    assert seen([(0.0, -6.0), *own, (step_s, -6.0)]) == [None] * (len(own) + 2)


def test_late_files_and_a_clock_that_is_kept_are_no_step() -> None:
    assert not any(seen([(0.0, -6.0), (0.4, -700.0), (-3.0, -400.0), (5.0, -6.0), (9.0, -HOUR_S)]))


def test_two_steps_before_a_frame_count_together_and_back_again_is_none() -> None:
    assert seen([(0.0, -6.0), (HOUR_S, -6.0 - HOUR_S), (0.0, -6.0), (0.0, -6.0)])[2:] == [None, None]


@pytest.mark.parametrize("step_s", [20.0, -20.0, 11.0])
def test_small_steps_add_up(step_s: float) -> None:
    """Each turns an axis by too little to be told; together they do not. A camera with its own clock follows none."""
    clock = [step_s * (number // 6) for number in range(30)]
    told = [step for step in seen((clock_s, -6.0) for clock_s in clock) if step is not None]
    assert told and all(abs(step) > STEP_S for step in told) and abs(sum(told) - clock[-1]) <= STEP_S
    assert not any(seen((clock_s, -6.0 - clock_s) for clock_s in clock))


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="this system has no such clock")
def test_durations_go_on_while_the_computer_sleeps() -> None:
    assert SystemClock().monotonic_s() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=1.0)
