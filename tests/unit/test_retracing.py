"""A recorded night comes again: every number replayed, resumed in the same stage wherever it was cut."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from night_kit import MemoryRecorder, RecordedNight, rehearsed
from polewright.core.night.advice import Advice
from polewright.core.night.advise import advise
from polewright.core.night.effects import FollowAxis
from polewright.core.night.events import FrameSolved
from polewright.core.night.rest import Rest
from polewright.core.night.states import NightState, Stage, begun
from polewright.runtime.course import Course
from polewright.runtime.engine import NightEngine
from polewright.runtime.jobs import Jobs
from polewright.runtime.retrace import EVENT_KIND, CheckedReplay, recorded_events, retrace_to_the_end
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.night_log import NightLog, parse_night
from polewright.services.recorder import NightRecorder


@pytest.fixture(scope="module")
def night() -> RecordedNight:
    return rehearsed("calm", 3)


def replayed(log: NightLog) -> CheckedReplay:
    replay = CheckedReplay()
    for line in log.events:
        replay.take(line)
    return replay


def resumed(log: NightLog) -> NightEngine:
    clock = VirtualClock(log.events[-1].utc)
    engine = NightEngine(no_frames, Jobs(), MemoryRecorder(), clock)
    engine.resume(log)
    return engine


def no_frames(path: Path) -> MeasuredFrame:
    raise AssertionError(f"{path.name} was measured")


def test_a_replay_ends_in_the_same_state_and_every_number_comes_out_again(night: RecordedNight) -> None:
    replay = replayed(night.log)
    assert replay.differences == []
    assert replay.numbers_checked > 40
    assert replay.course.state == night.engine.state
    assert replay.course.advice == night.engine.advice


def test_a_number_that_was_tampered_with_is_found(night: RecordedNight) -> None:
    replay = CheckedReplay()
    for line in parse_night(night.blob, "night").events:  # its own: the night is shared
        if line.kind == EVENT_KIND and line.data["kind"] == "AxisFollowed" and not replay.differences:
            line.data["axis"]["east_rad"] *= 1.0 + 2e-6
        replay.take(line)
    assert replay.differences[0].what == "AxisFollowed"


def test_a_number_of_which_another_processor_rounds_the_last_bit_is_none_that_differs(night: RecordedNight) -> None:
    replay, changed = CheckedReplay(), 0
    for line in parse_night(night.blob, "night").events:
        if line.kind == EVENT_KIND and line.data["kind"] == "AxisFollowed":
            line.data["axis"]["east_rad"] = float(np.nextafter(line.data["axis"]["east_rad"], 1.0))
            changed += 1
        replay.take(line)
    assert changed > 5
    assert replay.differences == []


def test_resuming_gives_the_same_state_and_goes_on_to_the_same_numbers(night: RecordedNight) -> None:
    log = parse_night(night.blob, "night")
    engine = resumed(log)
    assert engine.state == night.engine.state
    assert engine.now_s() == pytest.approx(log.events[-1].t_s, abs=1e-3)


def test_a_fault_in_the_program_does_not_keep_a_night_from_being_taken_up(
    night: RecordedNight, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the night itself such a fault costs one number; going through it again must cost no more."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("polewright.runtime.course.follow", broken)
    log = parse_night(night.blob, "night")
    assert resumed(log).state == night.engine.state
    assert replayed(log).course.state == night.engine.state


def test_events_left_out_the_second_time_leave_nothing_followed(
    night: RecordedNight, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Advice fails from the measured axis on, so that what was followed the first time must not go on."""

    def no_further_than_capture(state: NightState) -> Advice:
        if begun(state).stage not in (Stage.ORIENTATION, Stage.CAPTURE):
            raise ZeroDivisionError("of damaged numbers")
        return advise(state)

    monkeypatch.setattr("polewright.runtime.course.advise", no_further_than_capture)
    course, log = Course(), parse_night(night.blob, "night")
    retrace_to_the_end(course, log)
    assert begun(course.state).stage is Stage.CAPTURE
    frame = next(event.frame for _, event in reversed([*recorded_events(log)]) if isinstance(event, FrameSolved))
    assert course.answer(FollowAxis(frame), 4000.0) is None


@pytest.mark.parametrize("seed", range(6))
def test_a_log_cut_anywhere_resumes_in_the_same_stage_and_loses_at_most_one_line(
    night: RecordedNight, seed: int
) -> None:
    cut = int(np.random.default_rng(seed).integers(len(night.blob) // 20, len(night.blob)))
    log = parse_night(night.blob[:cut], "night")
    assert len(log.events) + 1 == night.blob[:cut].count(b"\n"), "no whole line is lost; the first is the header"
    assert_resumes_where_it_ended(log)


def test_an_answer_that_the_crash_swallowed_is_given_on_resuming(night: RecordedNight) -> None:
    log = parse_night(night.blob, "night")
    for answer in ("AxisMeasured", "AxisFollowed"):
        at = next(i for i, line in enumerate(log.events) if line.kind == EVENT_KIND and line.data["kind"] == answer)
        cut = NightLog(log.header, log.events[:at], (), log.sound_bytes)
        assert [type(event).__name__ for event in replayed(cut).unanswered] == [answer]
        assert_resumes_where_it_ended(cut)


def assert_resumes_where_it_ended(log: NightLog) -> None:
    """Everything that the log's events lead to, and the answers still due; only their time is another."""
    replay, engine = replayed(log), resumed(log)
    for answer in replay.unanswered:
        replay.course.take(replace(answer, at_s=engine.now_s()))
    expected, found = replay.course.state, engine.state
    assert found.stage is expected.stage
    assert replace(begun(found), now_s=0.0, rest=Rest(), trail=(), undo=None) == replace(
        begun(expected), now_s=0.0, rest=Rest(), trail=(), undo=None
    )
    assert [r.east_rad for r in found.rest.readings] == [r.east_rad for r in expected.rest.readings]


def test_a_resumed_night_goes_on_in_the_same_file(night: RecordedNight, tmp_path: Path) -> None:
    cut = len(night.blob) * 2 // 3
    (tmp_path / "night.jsonl").write_bytes(night.blob[:cut])
    log = parse_night(night.blob[:cut], "night")
    clock = VirtualClock(log.events[-1].utc.plus_seconds(30.0))
    recorder = NightRecorder(tmp_path, clock)
    engine = NightEngine(no_frames, Jobs(), recorder, clock)
    assert recorder.resumed is not None
    engine.resume(recorder.resumed)
    engine.tick()
    recorder.close()
    again = parse_night((tmp_path / "night.jsonl").read_bytes(), "night")
    assert [line.seq for line in again.events] == list(range(1, len(again.events) + 1))
    assert len(again.events) > len(log.events)
    replay = replayed(again)
    assert replay.differences == []
    assert replay.course.state == engine.state
    assert engine.now_s() == pytest.approx(log.events[-1].t_s + 30.0, abs=1e-3)
