"""The night's log: exact numbers, every truncation, a full disk, a folder that cannot be written, kills."""

from __future__ import annotations

import csv
import errno
import io
import json
import math
import os
import signal
import subprocess
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from iso_time import utc_from_iso
from polewright.core.errors import RecordingError
from polewright.core.model import Utc
from polewright.services import recorder as recorder_module
from polewright.services.clock import VirtualClock
from polewright.services.log_format import LoggedEvent, decode_line, encode_line, from_json, to_json_ready
from polewright.services.night_export import export_csv, export_json
from polewright.services.night_folders import KeepFrames, keep_frame, new_night_folder, recorded_nights
from polewright.services.night_log import LOG_NAME, NightLog, parse_night, read_night
from polewright.services.recorder import GAP_KIND, NightRecorder

START = utc_from_iso("2026-03-01T20:00:00")


def clock() -> VirtualClock:
    return VirtualClock(START)


def kinds(log: NightLog) -> list[str]:
    return [event.kind for event in log.events]


KEYS = st.text(max_size=5)  # too short for the tag of a float
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)


def same(a: Any, b: Any) -> bool:
    """Equal to the last bit, NaN included."""
    if isinstance(a, float) and isinstance(b, float):
        return (math.isnan(a) and math.isnan(b)) or (a == b and math.copysign(1, a) == math.copysign(1, b))
    if isinstance(a, dict):
        return isinstance(b, dict) and a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    if isinstance(a, list):
        return isinstance(b, list) and len(a) == len(b) and all(map(same, a, b))
    return type(a) is type(b) and a == b


@given(st.dictionaries(KEYS, JSON_VALUES, max_size=4), st.floats(0, 1e6), st.floats(-1, 1))
def test_a_line_comes_back_bit_for_bit(data: dict[str, Any], t_s: float, jd2: float) -> None:
    event = LoggedEvent(7, t_s, Utc(2461101.5, jd2), "kind", data)
    line = encode_line(event)
    assert line.endswith(b"\n") and line.count(b"\n") == 1
    json.loads(line, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    back = decode_line(line)
    assert back is not None
    assert same(back.data, data) and (back.seq, back.t_s, back.utc, back.kind) == (7, t_s, event.utc, "kind")


@given(st.binary(max_size=200))
def test_any_bytes_are_a_line_or_none(line: bytes) -> None:
    assert decode_line(line) is None


def test_a_flipped_bit_anywhere_is_noticed() -> None:
    line = encode_line(LoggedEvent(1, 2.0, START, "k", {"x": 1.5})).rstrip(b"\n")
    for position in range(len(line)):
        for bit in range(8):
            changed = bytearray(line)
            changed[position] ^= 1 << bit
            assert decode_line(bytes(changed)) is None


def test_the_checksum_is_that_of_zlib_over_the_line_without_it() -> None:
    """RFC 1952 CRC-32; the check value of "123456789" is cbf43926 (catalogue of parametrised CRC algorithms)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    members = json.loads(encode_line(LoggedEvent(1, 2.0, START, "k", {"x": 1.5})))
    crc = members.pop("crc")
    assert int(crc, 16) == zlib.crc32(json.dumps(members, separators=(",", ":")).encode())


def test_arrays_and_numpy_numbers_become_plain() -> None:
    plain = to_json_ready(
        {"a": np.array([1.5, np.nan]), "b": np.float32(0.1), "c": np.int64(3), "d": (1, np.bool_(True))}
    )
    assert same(
        from_json(json.dumps(plain)), {"a": [1.5, math.nan], "b": float(np.float32(0.1)), "c": 3, "d": [1, True]}
    )
    for bad in ({1: "x"}, {"x": object()}, {"$float": "nan"}):
        with pytest.raises(TypeError, match=r"cannot be logged|of its own"):
            to_json_ready(bad)


def test_a_night_is_recorded_and_taken_up_again(tmp_path: Path) -> None:
    folder, ticking = tmp_path / "2026-03-01", clock()
    first = NightRecorder(folder, ticking)
    assert first.resumed is None
    assert first.record("stage", {"name": "capture"}) == 1
    ticking.advance(10.0)
    assert first.record("frame", {"x": 0.1 + 0.2}, urgent=True) == 2
    assert first.close()
    ticking.advance(100.0)
    second = NightRecorder(folder, VirtualClock(ticking.utc(), start_s=5.0))
    assert second.resumed is not None and kinds(second.resumed) == ["stage", "frame"]
    assert second.record("frame", {"x": 1}) == 3
    second.close()
    log = read_night(folder)
    assert [event.seq for event in log.events] == [1, 2, 3]
    assert log.events[1].data == {"x": 0.30000000000000004}
    assert [round(event.t_s, 3) for event in log.events] == [0.0, 10.0, 110.0], "time goes on over the restart"
    assert log.header["format"] == "polewright-night" and log.problems == ()


BEFORE_MIDNIGHT = utc_from_iso("2026-03-01T23:50:00")


def test_a_night_goes_on_past_midnight_and_is_taken_up_there(tmp_path: Path) -> None:
    ticking = VirtualClock(BEFORE_MIDNIGHT)
    first = NightRecorder(tmp_path, ticking)
    for number in range(5):
        first.record("frame", {"n": number})
        ticking.advance(300.0)
    first.close()
    second = NightRecorder(tmp_path, VirtualClock(ticking.utc(), start_s=5.0))
    assert second.resumed is not None and [event.seq for event in second.resumed.events] == [1, 2, 3, 4, 5]
    second.record("frame", {"n": 5})
    second.close()
    log = read_night(tmp_path)
    frames = [event for event in log.events if event.kind == "frame"]
    assert log.problems == () and [event.data["n"] for event in frames] == [0, 1, 2, 3, 4, 5]
    since_s = [event.utc.seconds_since(BEFORE_MIDNIGHT) for event in frames]
    assert since_s == pytest.approx([0.0, 300.0, 600.0, 900.0, 1200.0, 1500.0], abs=1e-4)
    assert [path.name for path in tmp_path.glob("*torn*")] == []


@pytest.mark.parametrize("jd2", [1.0069, 1.5, -1.2])
def test_a_line_counted_from_the_day_before_is_read(jd2: float) -> None:
    """As nights that went past midnight were written in November 2026."""
    event = decode_line(encode_line(LoggedEvent(7, 1200.0, Utc(2461100.5, jd2), "kind", {})))
    assert event is not None and event.utc == Utc(2461100.5, jd2)


@pytest.mark.parametrize("jd", [(5373480.5, 4.0), (2305814.5, -2.0), (math.inf, -math.inf), (0.0, 0.5)])
def test_a_line_outside_the_calendar_is_damaged(jd: tuple[float, float]) -> None:
    assert decode_line(encode_line(LoggedEvent(7, 0.0, START, "kind", {}))) is not None
    body = json.loads(encode_line(LoggedEvent(7, 0.0, START, "kind", {})))
    del body["crc"]
    body["utc"] = to_json_ready(list(jd))
    text = json.dumps(body, separators=(",", ":")).encode()
    assert decode_line(text[:-1] + b',"crc":"%08x"}' % zlib.crc32(text)) is None


def test_two_recorders_never_share_a_night(tmp_path: Path) -> None:
    first, second = NightRecorder(tmp_path, clock()), NightRecorder(tmp_path, clock())
    assert first.trouble is None
    assert second.trouble is not None and "another copy" in str(second.trouble)
    second.record("frame", {"n": 1})
    first.close()
    assert second.retry() and second.trouble is None
    second.close()
    assert kinds(read_night(tmp_path))[-1] == "frame"


def written_night(folder: Path) -> bytes:
    night = NightRecorder(folder, clock())
    for number in range(4):
        night.record("frame", {"n": number, "x": number / 7})
    night.close()
    return (folder / LOG_NAME).read_bytes()


def test_cut_at_every_byte_only_the_torn_line_is_lost(tmp_path: Path) -> None:
    """A kill at any byte: the log reopens, keeps every whole line, sets the torn rest aside, and goes on."""
    blob = written_night(tmp_path / "whole")
    folder = tmp_path / "cut"
    for length in range(len(blob)):
        folder.mkdir()
        (folder / LOG_NAME).write_bytes(blob[:length])
        whole_lines = blob[:length].count(b"\n")
        night = NightRecorder(folder, clock())
        night.record("after", {})
        assert night.close() and night.trouble is None
        log = read_night(folder)
        assert kinds(log) == ["frame"] * max(0, whole_lines - 1) + ["after"]
        assert log.header and log.problems == ()
        torn = blob[:length].rpartition(b"\n")[2]
        kept = [path.read_bytes() for path in folder.glob("*.torn-1")]
        assert kept == ([torn] if torn else []), "nothing is thrown away"
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()


def test_a_damaged_line_in_the_middle_costs_that_line_alone(tmp_path: Path) -> None:
    blob = bytearray(written_night(tmp_path))
    lines = bytes(blob).split(b"\n")
    blob[len(lines[0]) + len(lines[1]) + 20] ^= 1
    (tmp_path / LOG_NAME).write_bytes(blob)
    log = read_night(tmp_path)
    assert [event.data["n"] for event in log.events] == [0, 2, 3]
    assert log.problems == ("Line 3 of night.jsonl is damaged and left out.",)
    night = NightRecorder(tmp_path, clock())
    night.record("after", {})
    night.close()
    assert (tmp_path / LOG_NAME).read_bytes().startswith(blob), "nothing before the end is touched"


def test_what_is_no_night_and_what_is_newer(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=rf"cannot be read: {os.strerror(errno.ENOENT)}\.$"):
        read_night(tmp_path / "nowhere")
    for header, sentence in (
        ({"format": "other", "version": 1}, "not written by"),
        ({"format": "polewright-night", "version": 99}, "newer"),
    ):
        line = encode_line(LoggedEvent(0, 0.0, START, "log", header))
        with pytest.raises(RecordingError, match=sentence):
            parse_night(line, "x")
        (tmp_path / LOG_NAME).write_bytes(line)
        night = NightRecorder(tmp_path, clock())
        assert night.trouble is not None and sentence in str(night.trouble)
        assert not night.close()
        assert (tmp_path / LOG_NAME).read_bytes() == line


class FullDisk:
    """os.write of a disk with so many bytes left: writes in part first, then ENOSPC, as Linux does."""

    def __init__(self, room: int) -> None:
        self.room = room

    def __call__(self, descriptor: int, data: Any) -> int:
        if self.room == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = os.write(descriptor, bytes(data[: self.room]))
        self.room -= written
        return written


def test_a_full_disk_is_waited_for_and_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[RecordingError | None] = []
    night = NightRecorder(tmp_path, clock(), told.append)
    night.record("frame", {"n": 0})
    disk = FullDisk(30)
    monkeypatch.setattr(recorder_module, "_write_all", _writer(disk))
    for number in (1, 2, 3):
        night.record("frame", {"n": number})
    assert night.waiting == 3 and len(told) == 1
    assert "No space left" in str(told[0]) and "wait in memory" in str(night.trouble)
    on_disk = (tmp_path / LOG_NAME).read_bytes()
    assert on_disk.endswith(b"}\n"), "no half line stays behind"
    disk.room = 10**6
    night.record("frame", {"n": 4})
    assert night.trouble is None and night.waiting == 0 and told[-1] is None
    night.close()
    assert [event.data["n"] for event in read_night(tmp_path).events] == [0, 1, 2, 3, 4]


def _writer(write: Any) -> Any:
    def write_all(descriptor: int, line: bytes) -> None:
        view = memoryview(line)
        while view:
            view = view[write(descriptor, view) :]

    return write_all


def test_beyond_its_memory_it_counts_what_is_lost_and_logs_the_gap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    night = NightRecorder(blocked / "night", clock())
    monkeypatch.setattr(recorder_module, "MAX_WAITING_BYTES", 600)
    for number in range(20):
        night.record("frame", {"n": number})
    blocked.unlink()
    night.retry()
    night.record("frame", {"n": 99})
    night.close()
    log = read_night(blocked / "night")
    gap = next(event for event in log.events if event.kind == GAP_KIND)
    kept = [event.data["n"] for event in log.events if event.kind == "frame"]
    assert kept[-1] == 99 and gap.data["events_lost"] + len(kept) == 21


def test_a_folder_that_cannot_be_written_is_waited_for(tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    told: list[RecordingError | None] = []
    night = NightRecorder(blocked / "night", clock(), told.append)
    night.record("frame", {"n": 1})
    assert isinstance(told[0], RecordingError) and len(told) == 1
    blocked.unlink()
    assert night.retry()
    night.close()
    assert kinds(read_night(blocked / "night")) == ["frame"]


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be deleted there")
def test_a_log_deleted_under_its_recorder_is_put_back(tmp_path: Path) -> None:
    ticking = clock()
    night = NightRecorder(tmp_path, ticking)
    night.record("frame", {"n": 1})
    (tmp_path / LOG_NAME).unlink()
    ticking.advance(2.0)
    night.record("frame", {"n": 2})
    night.close()
    assert [event.data["n"] for event in read_night(tmp_path).events] == [1, 2]


FILE_LIMIT = """
import resource, signal, sys
from pathlib import Path
from polewright.services.clock import VirtualClock
from polewright.core.sky.timescales import parse_iso
from polewright.services.recorder import NightRecorder
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, hard))
night = NightRecorder(Path(sys.argv[1]), VirtualClock(parse_iso("2026-03-01T20:00:00").utc))
for number in range(30):
    night.record("frame", {"n": number})
assert night.trouble is not None and night.waiting > 0
resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
assert night.close()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX file size limit")
def test_a_real_limit_of_the_system_in_the_middle_of_a_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FILE_LIMIT, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert [event.data["n"] for event in read_night(tmp_path).events] == list(range(30))


ENDLESS_WRITERS = """
import os, sys
from pathlib import Path
from polewright.services.clock import SystemClock
from polewright.services.recorder import NightRecorder
for folder in map(str.strip, sys.stdin):
    writer = os.fork()
    if writer == 0:
        night = NightRecorder(Path(folder), SystemClock())
        print(os.getpid(), flush=True)
        while True:
            print(night.record("frame", {"x": list(range(40))}), flush=True)
    os.waitpid(writer, 0)
    print("\\nended", flush=True)
"""


@pytest.fixture
def writers() -> Iterator[subprocess.Popen[str]]:
    """A process that forks, for each folder it is told, another that records there until it is killed.

    Only the first start imports the program: a writer of its own for every kill would take 0.2 s.
    """
    command = [sys.executable, "-c", ENDLESS_WRITERS]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as parent:
        yield parent
        assert parent.stdin is not None
        parent.stdin.close()
    assert parent.returncode == 0


def kill_a_recorder(writers: subprocess.Popen[str], folder: Path, after_lines: int) -> None:
    """Start a process that records, kill it when it has acknowledged so many events, check that all are there."""
    before = read_night(folder).last if (folder / LOG_NAME).exists() else None
    assert writers.stdin is not None and writers.stdout is not None
    print(folder, file=writers.stdin, flush=True)
    writer = int(writers.stdout.readline())
    for _ in range(after_lines):
        acknowledged = int(writers.stdout.readline())
    os.kill(writer, signal.SIGKILL)
    rest = list(iter(lambda: writers.stdout.readline().strip(), "ended"))
    whole = [int(line) for line in rest if line]
    log = read_night(folder)
    assert log.last is not None
    assert log.last.seq >= max([acknowledged, *whole[:-1]]), "what was acknowledged is there"
    assert [event.seq for event in log.events] == list(range(1, log.last.seq + 1)), "and nothing before it is missing"
    assert before is None or log.last.seq > before.seq


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_killed_at_random_moments_the_log_loses_nothing_acknowledged(
    writers: subprocess.Popen[str], tmp_path: Path
) -> None:
    for after_lines in (1, 7, 40):
        kill_a_recorder(writers, tmp_path, after_lines)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_two_hundred_kills(writers: subprocess.Popen[str], tmp_path: Path) -> None:
    rng = np.random.default_rng(200)
    for number in range(200):
        kill_a_recorder(writers, tmp_path / str(number // 20), int(rng.integers(1, 60)))


def test_folders_of_nights(tmp_path: Path) -> None:
    """Half past midnight in Munich still belongs to the evening before."""
    folder = new_night_folder(tmp_path, utc_from_iso("2026-03-01T23:30:00"), 11.0)
    assert folder.name == "2026-03-01"
    assert new_night_folder(tmp_path, utc_from_iso("2026-03-02T08:00:00"), -110.0).name == "2026-03-01"
    NightRecorder(folder, clock()).close()
    again = new_night_folder(tmp_path, utc_from_iso("2026-03-01T23:40:00"), 11.0)
    assert again.name == "2026-03-01-2"
    NightRecorder(again, clock()).close()
    assert recorded_nights(tmp_path) == [again, folder]
    assert recorded_nights(tmp_path / "none") == []


def test_frames_are_kept_as_asked(tmp_path: Path) -> None:
    frame, folder = tmp_path / "a.fits", tmp_path / "night"
    frame.write_bytes(b"first")
    assert keep_frame(folder, frame, KeepFrames.REFERENCE) == str(frame)
    assert not folder.exists()
    assert keep_frame(folder, frame, KeepFrames.LINK) == "frames/a.fits"
    assert (folder / "frames" / "a.fits").samefile(frame)
    frame.unlink()
    frame.write_bytes(b"second")
    assert keep_frame(folder, frame, KeepFrames.COPY) == "frames/a-2.fits"
    assert (folder / "frames" / "a.fits").read_bytes() == b"first"
    assert (folder / "frames" / "a-2.fits").read_bytes() == b"second"
    with pytest.raises(RecordingError, match="cannot be kept"):
        keep_frame(folder, tmp_path / "gone.fits", KeepFrames.COPY)
    assert sorted(path.name for path in (folder / "frames").iterdir()) == ["a-2.fits", "a.fits"]


def test_export() -> None:
    events = [
        LoggedEvent(
            1, 0.0, START, "axis", {"east_arcmin": 1.1, "sigma": {"east": 0.1, "up": 0.2}, "frames": ["a", "b"]}
        ),
        LoggedEvent(2, 1.0, START, "stars", {"x_px": list(range(300))}),
        LoggedEvent(3, 2.5, START, "axis", {"east_arcmin": 0.1 + 0.2, "note": 'a "b", c', "up_arcmin": math.nan}),
    ]
    rows = list(csv.DictReader(io.StringIO(export_csv(events, ["axis"]))))
    assert [row["seq"] for row in rows] == ["1", "3"]
    assert (
        rows[0]["sigma.up"] == "0.2" and rows[0]["frames.1"] == "b" and rows[0]["utc"] == "2026-03-01T20:00:00.000Z"
    )
    assert float(rows[1]["east_arcmin"]) == 0.1 + 0.2 and rows[1]["note"] == 'a "b", c'
    exported = json.loads(export_json(events, {"axis", "stars"}))
    assert len(exported) == 3 and exported[1]["x_px"][-1] == 299 and exported[2]["east_arcmin"] == 0.1 + 0.2
