"""Which frames the helper reads and measures.

Measured on two busy cores with frames of 1280 x 960: our own code reads plain FITS in 0.9 ms and the quick pass takes
5.4 ms; through the helper it takes 9 to 16 ms, of which the crossing of the pixels and two changes of process are the
most. So an ordinary frame stays here. What a library unpacks is unpacked in the helper, and the careful pass over a
difficult frame (0.1 s to seconds, native code, the most memory) runs there too, also when a second look asks for it:
nobody notices the crossing, and the window has the interpreter to itself meanwhile. The second look by local noise
stays here (services/local_pass.py says why). The helper is started by the first frame that needs it (0.3 s).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame, StarList
from polewright.services.contained.ceiling import decoding_budget, detection_budget
from polewright.services.contained.process import Breach, BreachError, HelperProcess
from polewright.services.contained.wire import GarbledError, Message, pack, unpack
from polewright.services.frame_reader.facts import NotPlainError
from polewright.services.frame_reader.reading import bytes_of, frame_from_bytes, shown
from polewright.words import files

CAUSES: dict[Breach, str] = {
    "work": "it takes far more work than any frame does",
    "memory": "it takes far more memory than any frame does",
    "death": "what reads it has crashed",
}


def breach_words(name: str, breach: Breach) -> str:
    """What to say about a frame that was given up."""
    return f"{name} is not usable: {CAUSES[breach]}. {files.TAKE_IT_OUT}"


class ContainedReader:
    """Reads frames; what only a library can unpack is unpacked in the helper, and what needs care is measured there.

    Serves any number of threads.
    """

    def __init__(self, helper: HelperProcess) -> None:
        self._helper = helper
        self._serials = itertools.count()
        self._serial_of: WeakKeyDictionary[Frame, int] = WeakKeyDictionary()  # the helper may still have the frame

    def read(self, path: Path, *, utc_offset_hours: float | None = None, image: int = 1) -> Frame:
        """As frame_reader.read_frame; FrameReadError also for a file that overruns its budget."""
        blob, modified_s = bytes_of(path)
        name = shown(path.name)
        try:
            return frame_from_bytes(name, blob, modified_s, utc_offset_hours, plain=True, image=image)
        except NotPlainError:
            return self._decoded(name, blob, modified_s, utc_offset_hours, image)

    def _decoded(
        self, name: str, blob: bytes, modified_s: float, utc_offset_hours: float | None, image: int
    ) -> Frame:
        serial = next(self._serials)
        facts = {"name": name, "modified_s": modified_s, "utc_offset_hours": utc_offset_hours, "image": image}
        asked = Message({"ask": "decode", "serial": serial, **facts}, [np.frombuffer(blob, np.uint8)])
        with _breach_as_refusal(name):
            answer = self._helper.ask(asked, decoding_budget(len(blob)))
            if "refused" in answer.body:
                raise FrameReadError(answer.body["refused"])
            frame = unpack(Frame, answer.body["frame"], answer.arrays)
        frame.pixels.setflags(write=False)
        self._serial_of[frame] = serial
        return frame

    def find_stars(self, frame: Frame, hot_pixels: HotPixelMask | None) -> StarList:
        """For detector.Detector: frames that need care; FrameReadError for one that overruns its budget."""
        serial = self._serial_of.get(frame)
        mask = hot_pixels if hot_pixels is not None and hot_pixels.hot_index.size else None
        with _breach_as_refusal(frame.name):
            answer = None if serial is None else self._asked(frame, None, serial, mask)
            if answer is None or "unknown" in answer.body:  # another frame came between, or the helper died
                plain, arrays = pack(frame)
                answer = self._asked(frame, plain, None, mask, arrays)
            return unpack(StarList, answer.body["stars"], answer.arrays)

    def _asked(
        self,
        frame: Frame,
        plain: object,
        serial: int | None,
        mask: HotPixelMask | None,
        arrays: Sequence[NDArray[Any]] = (),
    ) -> Message:
        shape = None if mask is None else list(mask.shape)
        body = {"ask": "detect", "serial": serial, "frame": plain, "mask": shape}
        asked = Message(body, arrays if mask is None else [*arrays, mask.hot_index])
        return self._helper.ask(asked, detection_budget(frame.pixels.size))


@contextmanager
def _breach_as_refusal(name: str) -> Iterator[None]:
    try:
        yield
    except BreachError as error:
        raise FrameReadError(breach_words(name, error.breach)) from error
    except GarbledError as error:
        raise FrameReadError(breach_words(name, "death")) from error
