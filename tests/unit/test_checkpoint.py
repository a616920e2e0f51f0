"""A checkpoint saves time and nothing else: from it a night comes to the same state; a doubtful one is not used."""

from __future__ import annotations

import json
import lzma
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from night_kit import MemoryRecorder, rehearsed
from polewright.core.errors import SettingsError
from polewright.core.night.states import Waiting
from polewright.core.screws.angles import Screw
from polewright.core.screws.memory import ScrewMemory
from polewright.runtime import engine as engine_module
from polewright.runtime.checkpoint import course_to_plain, take_up
from polewright.runtime.course import Course
from polewright.runtime.engine import NightEngine, NoOutlets
from polewright.runtime.jobs import Jobs
from polewright.runtime.retrace import EVENT_KIND, recorded_events, retrace_to_the_end
from polewright.services import checkpoint as checkpoint_module
from polewright.services.checkpoint import CHECKPOINT_NAME, Checkpoint, read_checkpoint, write_checkpoint
from polewright.services.clock import VirtualClock
from polewright.services.log_format import from_json, to_json_ready
from polewright.services.measuring import MeasuredFrame
from polewright.services.night_log import LOG_NAME, NightLog, parse_night
from polewright.services.ports import Recorder
from polewright.services.recorder import NightRecorder

NIGHTS = Path(__file__).parents[1] / "data" / "nights"


def kept_night(name: str) -> NightLog:
    blob = rehearsed("calm", 3).blob if name == "rehearsed" else lzma.decompress((NIGHTS / name).read_bytes())
    return parse_night(blob, name, (EVENT_KIND,))


def following_of(course: Course) -> list[bytes]:
    """Every number that following carries on, bit for bit."""
    f = course.following
    if f is None:
        return []
    arrays = (f.pose.attitude, f.pose.axis_in_camera, f.pose.covariance, f.target_enu)
    numbers = np.array([f.rms_arcsec, f.tracking_log_odds, f.frames_at_rest, f.stars_matched])
    return [np.ascontiguousarray(a).tobytes() for a in (*arrays, numbers)]


@pytest.mark.parametrize(
    "name", ["rehearsed", "southern-sky.jsonl.xz", "kicked-tripod.jsonl.xz", "interrupted.jsonl.xz"]
)
def test_from_any_checkpoint_a_night_comes_to_the_state_of_the_whole_log(name: str) -> None:
    log = kept_night(name)
    whole = Course()
    due = retrace_to_the_end(whole, log)
    places = [line for line, _ in recorded_events(log)]
    checked = 0
    for line in places[5 :: max(1, len(places) // 8)]:
        part = Course()
        cut = NightLog(log.header, tuple(e for e in log.events if e.seq <= line.seq), (), 0)
        if retrace_to_the_end(part, cut):
            continue  # an answer is due: no checkpoint is written here
        plain = course_to_plain(part)
        if plain is None:
            continue
        text = json.dumps(to_json_ready(plain), allow_nan=False)
        again = Course()
        assert retrace_to_the_end(again, log, Checkpoint(line.seq, 0, from_json(text))) == due
        assert again.state == whole.state and again.advice == whole.advice
        assert following_of(again) == following_of(whole)
        checked += 1
    assert checked >= 2


def test_the_engine_keeps_checkpoints_and_a_resumed_night_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The night of a rehearsal once more through the recorder; what is after the checkpoint is little."""
    folder = tmp_path / "night"
    clock = VirtualClock(rehearsed("calm", 3).log.events[0].utc)
    recorder = NightRecorder(folder, clock)
    engine = posted(monkeypatch, recorder, clock=clock)
    recorder.close()
    again = NightRecorder(folder, clock)
    assert again.resumed is not None and again.checkpoint is not None
    assert 0 < again.resumed.events[-1].seq - again.checkpoint.seq < 80
    resumed = NightEngine(no_frames, Jobs(), MemoryRecorder(), clock)
    resumed.resume(again.resumed, again.checkpoint)
    whole = NightEngine(no_frames, Jobs(), MemoryRecorder(), clock)
    whole.resume(again.resumed)
    assert resumed.state == whole.state == engine.state
    assert following_of(resumed.course) == following_of(whole.course) == following_of(engine.course)
    again.close()


class FullDisk(NoOutlets):
    """The rig's profile cannot be saved."""

    def save_screw(self, screw: Screw, memory: ScrewMemory) -> None:
        raise SettingsError("The disk is full.")


class NoCheckpoints(MemoryRecorder):
    """A recorder with a bug."""

    def keep_checkpoint(self, state: dict[str, Any]) -> None:
        raise ValueError("not a number")


def posted(
    monkeypatch: pytest.MonkeyPatch,
    recorder: Recorder,
    outlets: NoOutlets | None = None,
    clock: VirtualClock | None = None,
) -> NightEngine:
    """The events of a rehearsal through an engine that keeps a checkpoint every 40."""
    monkeypatch.setattr(engine_module, "CHECKPOINT_EVENTS", 40)
    log = rehearsed("calm", 3).log
    clock = clock or VirtualClock(log.events[0].utc)
    engine = NightEngine(no_frames, Jobs(), recorder, clock, outlets)
    for _, event in recorded_events(log):
        if not type(event).__name__.startswith(("Axis", "Drift")):  # those are the engine's own answers
            clock.advance(max(0.0, event.at_s - engine.now_s()))
            engine.post(event)
    return engine


def test_a_profile_that_cannot_be_saved_costs_no_checkpoint(monkeypatch: pytest.MonkeyPatch) -> None:
    usual, refused = MemoryRecorder(), MemoryRecorder()
    posted(monkeypatch, usual)
    engine = posted(monkeypatch, refused, FullDisk())
    assert "The disk is full." in [notice.cause for notice in engine.notices]
    assert len(refused.checkpoints) == len(usual.checkpoints) > 2


def test_a_fault_of_the_checkpoint_costs_the_checkpoint_only(monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = NoCheckpoints()
    engine = posted(monkeypatch, recorder)
    assert engine.state.proved and "fault" in recorder.kinds()
    assert any("keeping a checkpoint" in notice.cause for notice in engine.notices)


def no_frames(path: Path) -> MeasuredFrame:
    raise AssertionError(path)


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, bytes]:
    """A folder with a checkpoint after the second of three lines."""
    log = b"one\ntwo\nthree\n"
    digest = checkpoint_module.log_digest(log[:8]).hexdigest()
    write_checkpoint(tmp_path, Checkpoint(1, 8, {"night": [1.5, float("nan")]}), digest)
    return tmp_path, log


def test_a_checkpoint_comes_back(kept: tuple[Path, bytes]) -> None:
    found = read_checkpoint(*kept)
    assert found is not None and (found.seq, found.offset) == (1, 8)
    assert found.state["night"][0] == 1.5 and np.isnan(found.state["night"][1])


def test_what_follows_in_the_log_is_free_but_not_what_was_before(kept: tuple[Path, bytes]) -> None:
    folder, log = kept
    assert read_checkpoint(folder, log[:8] + b"another\n") is not None
    for other in (b"one\ntwi\nthree\n", log[:7], log[:4], b"", b"onetwo\n\n"):
        assert read_checkpoint(folder, other) is None


def test_a_checkpoint_of_other_code_is_not_believed(
    kept: tuple[Path, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkpoint_module, "code_mark", lambda: "other")
    assert read_checkpoint(*kept) is None


def test_a_checkpoint_with_any_byte_changed_is_not_believed(kept: tuple[Path, bytes]) -> None:
    folder, log = kept
    file = folder / CHECKPOINT_NAME
    sound = file.read_bytes()
    for place in range(len(sound)):
        file.write_bytes(sound[:place] + bytes([sound[place] ^ 1]) + sound[place + 1 :])
        assert read_checkpoint(folder, log) is None, place
    for length in (0, 10, 55, len(sound) // 2):
        file.write_bytes(sound[:length])
        assert read_checkpoint(folder, log) is None


def test_values_that_describe_no_night_leave_the_course_fresh() -> None:
    course = Course()
    for values in ({}, {"night": {"kind": "Running"}, "following": None}, {"night": 7, "following": {}}):
        assert not take_up(course, values)
        assert isinstance(course.state, Waiting) and course.following is None


def test_a_folder_that_cannot_be_written_costs_the_checkpoint_only(tmp_path: Path) -> None:
    write_checkpoint(tmp_path / "gone", Checkpoint(1, 8, {}), "00")
    clock = VirtualClock(rehearsed("calm", 3).log.events[0].utc)
    recorder = NightRecorder(tmp_path / "night", clock)
    recorder.record(EVENT_KIND, {"kind": "Ticked", "at_s": 1.0})
    (tmp_path / "night" / CHECKPOINT_NAME).mkdir()  # nothing can be put in its place
    recorder.keep_checkpoint({"night": 1})
    assert recorder.trouble is None and recorder.close()
    assert (tmp_path / "night" / LOG_NAME).read_bytes().count(b"\n") == 2
