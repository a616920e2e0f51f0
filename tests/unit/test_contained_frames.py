"""What a frame file does to the process that reads it stays there: loops, memory, death. The next frame is read."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits

from hostile_frames import compressed, with_card, zeros_in_gzip
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame, StarList
from polewright.core.unsolved import Fault
from polewright.services.contained import process
from polewright.services.contained.ceiling import Budget, decoding_budget, detection_budget
from polewright.services.contained.process import BreachError, HelperFaultError, HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.contained.wire import GarbledError, Message, receive, send
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.frame_reader.reading import frame_from_bytes
from polewright.words.frames import frame_headline, frame_words
from polewright.words.notices import fault_words

TRIAL = [sys.executable, str(Path(__file__).with_name("trial_helper.py"))]
AMPLE = Budget(30.0, 1 << 30)
NOTHING = Message({"do": "nothing", "amount": 0, "work_s": 9.0, "bytes": 1 << 30})
POSIX = pytest.mark.skipif(os.name == "nt", reason="the kernel counts no work there")


@pytest.fixture
def helper() -> Iterator[HelperProcess]:
    it = HelperProcess()
    yield it
    it.close()


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    """A compressed frame with a few stars and a header that says everything."""
    pixels = np.random.default_rng(3).normal(500.0, 10.0, (200, 300))
    for x, y in ((50, 60), (120, 90), (240, 150)):
        pixels[y - 1 : y + 2, x - 1 : x + 2] += 900.0
    cards = {"DATE-OBS": "2026-03-01T20:00:00", "EXPTIME": 2.0, "FOCALLEN": 180.0, "XPIXSZ": 3.75}
    cards |= {"SITELAT": 47.5, "SITELONG": 11.0, "RA": 31.0, "DEC": 46.0, "INSTRUME": "box"}
    path = tmp_path / "packed.fits.fz"
    image = fits.CompImageHDU(pixels.astype(np.uint16), fits.Header(cards))
    fits.HDUList([fits.PrimaryHDU(), image]).writeto(path)
    return path


def same(one: Frame | StarList, other: Frame | StarList) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))


def test_a_contained_frame_and_its_stars_are_the_same_to_the_last_bit(helper: HelperProcess, packed: Path) -> None:
    reader = ContainedReader(helper)
    detector = Detector(reader.find_stars)
    here, there = read_frame(packed), reader.read(packed)
    assert same(here, there)
    assert there.pixels.dtype == np.uint16 and not there.pixels.flags.writeable
    assert same(Detector().detect(here), detector.detect(there))
    mask = HotPixelMask(
        here.pixels.shape, np.array([y * 300 + x for y in (138, 139, 140) for x in (49, 50, 51)]), np.zeros((0, 2))
    )
    assert same(Detector().detect(here, mask), detector.detect(there, mask))
    assert not same(Detector().detect(here), detector.detect(there, mask)), "the mask takes a star away"


def test_a_frame_that_the_helper_has_lost_is_sent_again(helper: HelperProcess, packed: Path, tmp_path: Path) -> None:
    reader = ContainedReader(helper)
    detector, frame = Detector(reader.find_stars), reader.read(packed)
    other = tmp_path / "b.fits.fz"
    other.write_bytes(compressed())
    reader.read(other)
    assert same(Detector().detect(frame), detector.detect(frame))
    helper.close()
    assert same(Detector().detect(frame), detector.detect(frame))


def test_plain_fits_starts_no_process(helper: HelperProcess, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process, "_launched", lambda: pytest.fail("started"))
    fits.PrimaryHDU(np.zeros((64, 64), np.uint16)).writeto(tmp_path / "a.fits")
    assert ContainedReader(helper).read(tmp_path / "a.fits").width_px == 64


def test_what_a_file_is_refused_for_comes_through(helper: HelperProcess, tmp_path: Path) -> None:
    path = tmp_path / "half.fits.fz"
    path.write_bytes(compressed()[:-2880])
    with pytest.raises(FrameReadError) as here:
        read_frame(path)
    with pytest.raises(FrameReadError) as there:
        ContainedReader(helper).read(path)
    assert str(here.value) == str(there.value)


# breaches


@POSIX
@pytest.mark.parametrize(
    ("do", "amount", "budget", "breach"),
    [
        ("work", 60.0, Budget(0.3, 1 << 30), "work"),
        ("sleep", 60.0, Budget(-19.9 / 6.0 + 0.2, 1 << 30), "work"),
        ("allocate", 3 << 30, Budget(30.0, 1 << 30), "memory"),
        ("abort", 0, Budget(30.0, 1 << 30), "death"),
        ("print", 0, Budget(30.0, 1 << 30), None),
    ],
)
def test_the_helper_is_given_up_in_time_and_starts_again(
    monkeypatch: pytest.MonkeyPatch, helper: HelperProcess, do: str, amount: float, budget: Budget, breach: str | None
) -> None:
    monkeypatch.setattr(
        process, "helper_command", lambda: [sys.executable, str(Path(__file__).parent / "trial_helper.py")]
    )
    asked = Message({"do": do, "amount": amount, "work_s": budget.work_s, "bytes": budget.memory_bytes})
    begun = time.monotonic()
    if breach is None:
        assert helper.ask(asked, budget).body["done"] == do
    else:
        with pytest.raises(BreachError) as given_up:
            helper.ask(asked, budget)
        assert given_up.value.breach == breach
    assert time.monotonic() - begun < 20.0
    assert helper.ask(Message({**asked.body, "do": "nothing", "work_s": 9.0}), AMPLE).body["done"] == "nothing"


def test_a_fault_of_ours_in_the_helper_is_told_with_its_traceback(helper: HelperProcess) -> None:
    with pytest.raises(HelperFaultError, match="KeyError: 'ask'"):
        helper.ask(Message({}), AMPLE)


def test_of_a_traceback_a_person_reads_the_last_line_and_is_not_sent_to_the_camera(helper: HelperProcess) -> None:
    """A notice holds three lines; and what the program does wrong is no fault of the camera program's format."""
    with pytest.raises(HelperFaultError) as fault:
        helper.ask(Message({}), AMPLE)
    told = fault_words("measuring a.fits", fault.value)
    assert told.reason == "A fault in the program while measuring a.fits: HelperFaultError: KeyError: 'ask'"
    assert frame_headline(Fault("a.fits")) == "Wait for the next frame."
    assert "start it again" in frame_words(Fault("a.fits")).cure, "where no frame comes through, that is the way out"


def test_closing_from_another_thread_ends_the_waiting(helper: HelperProcess, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        process, "helper_command", lambda: [sys.executable, str(Path(__file__).parent / "trial_helper.py")]
    )
    threading.Timer(1.0, helper.close).start()
    begun = time.monotonic()
    with pytest.raises(BreachError):
        helper.ask(Message({"do": "sleep", "amount": 50.0, "work_s": 9.0, "bytes": 1 << 30}), AMPLE)
    assert time.monotonic() - begun < 10.0


def test_closing_just_as_it_has_started_is_a_breach(helper: HelperProcess, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another thread may close at any moment of `ask`: that is a BreachError, no fault."""
    monkeypatch.setattr(process, "helper_command", lambda: TRIAL)

    class Emptied(list[subprocess.Popen[bytes]]):
        """Closed by another thread as soon as the process stands in it."""

        def append(self, it: subprocess.Popen[bytes]) -> None:
            super().append(it)
            other = threading.Thread(target=helper.close)
            other.start()
            other.join()

    helper._running = Emptied()
    with pytest.raises(BreachError):
        helper.ask(NOTHING, AMPLE)


def test_two_threads_may_close_at_once() -> None:
    class Counted(list[subprocess.Popen[bytes]]):
        """Says that there is one; the other thread has it by then."""

        def __bool__(self) -> bool:
            return True

        def __len__(self) -> int:
            return 1

    process._end_them(Counted())


def test_too_much_memory_ends_the_helper_before_another_thread_asks_it(
    helper: HelperProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: list[bool] = []

    def close() -> None:
        held.append(helper._lock.locked())

    monkeypatch.setattr(helper, "_asked", lambda *_: Message({"breach": "memory"}))
    monkeypatch.setattr(helper, "close", close)
    with pytest.raises(BreachError):
        helper.ask(NOTHING, AMPLE)
    assert held == [True]


def test_an_answer_that_nobody_waited_for_is_not_taken_for_the_next(
    helper: HelperProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl+C between question and answer."""
    monkeypatch.setattr(process, "helper_command", lambda: TRIAL)
    with monkeypatch.context() as pressed:
        pressed.setattr(process, "receive", interrupted)
        with pytest.raises(KeyboardInterrupt):
            helper.ask(NOTHING, AMPLE)
    assert not helper.running
    assert helper.ask(Message({**NOTHING.body, "do": "print"}), AMPLE).body["done"] == "print"


def test_an_answer_to_another_question_ends_the_helper(
    helper: HelperProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(process, "helper_command", lambda: TRIAL)
    running = helper._start()
    assert running.stdin is not None
    send(running.stdin, NOTHING)  # its answer is the first to come
    with pytest.raises(BreachError):
        helper.ask(Message({**NOTHING.body, "do": "print"}), AMPLE)
    assert not helper.running


def interrupted(_: object) -> Message:
    raise KeyboardInterrupt


@POSIX
def test_a_helper_that_was_stopped_and_goes_on_answers(helper: HelperProcess, packed: Path) -> None:
    reader = ContainedReader(helper)
    first = reader.read(packed)
    process = helper._running[0]
    process.send_signal(signal.SIGSTOP)
    threading.Timer(1.5, process.send_signal, (signal.SIGCONT,)).start()
    begun = time.monotonic()
    assert same(reader.read(packed), first)
    assert time.monotonic() - begun > 1.0 and helper._running[0] is process


@POSIX
def test_the_helper_ends_with_the_program_and_ignores_its_ctrl_c(packed: Path) -> None:
    code = (
        "import os, sys, signal, time; from pathlib import Path\n"
        "from polewright.services.contained.process import HelperProcess\n"
        "from polewright.services.contained.reader import ContainedReader\n"
        "helper = HelperProcess(); reader = ContainedReader(helper); reader.read(Path(sys.argv[1]))\n"
        "os.kill(helper._running[0].pid, signal.SIGINT); time.sleep(0.2); reader.read(Path(sys.argv[1]))\n"
        "print(helper._running[0].pid, flush=True); os.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(packed)], capture_output=True, text=True, check=False)
    assert done.returncode == -signal.SIGKILL
    child = int(done.stdout)
    for _ in range(100):
        if not Path(f"/proc/{child}").exists():
            return
        time.sleep(0.1)
    pytest.fail("the helper outlives the program")


# hostile files


@pytest.mark.parametrize(
    ("keyword", "value"),
    [
        ("ZNAXIS", 2_000_000_000),
        ("TFIELDS", 2_000_000_000),
        ("ZTILE1", -5),
        ("ZTILE2", 0),
        ("ZTILE1", 21),
        ("ZNAXIS2", 9000),
        ("NAXIS1", 0),
    ],
)
def test_senseless_tiles_are_refused_before_any_library_sees_them(keyword: str, value: int) -> None:
    for method in ("RICE_1", "HCOMPRESS_1", "GZIP_1"):
        begun = time.process_time()
        with pytest.raises(FrameReadError, match=r"compressed image|no frame of the sky"):
            frame_from_bytes("a.fits.fz", with_card(compressed(method), keyword, value), 1.7e9)
        assert time.process_time() - begun < 1.0


@pytest.mark.parametrize("method", ["RICE_1", "GZIP_1", "GZIP_2", "HCOMPRESS_1", "NOCOMPRESS"])
def test_honest_tiles_are_still_read(method: str) -> None:
    assert frame_from_bytes("a.fits.fz", compressed(method), 1.7e9).width_px == 20


def test_a_gigabyte_of_nothing_is_refused_early(helper: HelperProcess, tmp_path: Path) -> None:
    path = tmp_path / "zeros.fits.gz"
    path.write_bytes(zeros_in_gzip())
    begun = time.monotonic()
    with pytest.raises(FrameReadError, match="it is empty"):
        ContainedReader(helper).read(path)
    assert time.monotonic() - begun < 5.0


def test_budgets_follow_from_bytes_and_pixels_alone() -> None:
    assert decoding_budget(0).work_s < decoding_budget(50 << 20).work_s <= 40.0
    assert detection_budget(1_000_000).memory_bytes < 700 << 20


# the wire


def test_garbled_messages_are_told_from_the_end(tmp_path: Path) -> None:
    path = tmp_path / "wire"
    with path.open("wb") as file:
        send(file, Message({"a": 1}, [np.arange(5.0), np.zeros((2, 3), np.uint8)]))
    whole = path.read_bytes()
    with path.open("rb") as file:
        message = receive(file)
        assert message is not None and message.body == {"a": 1}
        assert np.array_equal(message.arrays[0], np.arange(5.0)) and message.arrays[1].shape == (2, 3)
        assert receive(file) is None
    rng, wrong = np.random.default_rng(1), 0
    for _ in range(300):
        damaged = bytearray(whole[: int(rng.integers(1, len(whole) + 1))])
        damaged[int(rng.integers(min(len(damaged), 60)))] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        with path.open("rb") as file:
            try:
                receive(file)
            except GarbledError:
                wrong += 1
    assert wrong > 200
