"""The helper: unpacks a file, finds the stars on the frame, as it is asked; one request after the other.

It ends when its input does. What a library says on its output goes nowhere; Ctrl+C is the program's business.
"""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.contained.ceiling import decoding_budget, detection_budget, held_to, watch_memory
from polewright.services.contained.wire import Message, pack, receive, send, unpack
from polewright.services.detector import Detector
from polewright.services.frame_reader.reading import frame_from_bytes

MOST_BYTES = 8 << 30  # chosen: room for the largest frames with their copies
Held = tuple[int | None, Frame] | None  # the number of the latest frame, and the frame


def serve() -> int:
    """Answer until nobody asks any more."""
    _keep_to_itself()
    source, sink = os.fdopen(os.dup(0), "rb", buffering=0), os.fdopen(os.dup(1), "wb", buffering=0)
    _close_standard_streams()
    held: Held = None
    while (asked := receive(source)) is not None:
        try:
            answer, held = _answer(asked, held)
        except MemoryError:
            answer, held = Message({"breach": "memory"}), None
        except FrameReadError as error:
            answer, held = Message({"refused": str(error)}), None
        except Exception:
            answer, held = Message({"fault": traceback.format_exc()}), None
        send(sink, replace(answer, body={**answer.body, "exchange": asked.body.get("exchange")}))
    return 0


def _answer(asked: Message, held: Held) -> tuple[Message, Held]:
    """The answer, and the frame that the next request may be about."""
    body = asked.body
    if body["ask"] == "decode":
        frame = _decoded(body, asked.arrays[0].tobytes())
        plain, arrays = pack(frame)
        return Message({"frame": plain}, arrays), (body["serial"], frame)
    if body["frame"] is not None:
        held = (body["serial"], unpack(Frame, body["frame"], asked.arrays[:1]))
    if held is None or held[0] != body["serial"]:
        return Message({"unknown": True}), held
    with held_to(detection_budget(held[1].pixels.size)):
        stars = Detector().detect(held[1], _mask(body, asked))
    plain, arrays = pack(stars)
    return Message({"stars": plain}, arrays), held


def _decoded(body: Mapping[str, Any], blob: bytes) -> Frame:
    with held_to(decoding_budget(len(blob))):
        return frame_from_bytes(body["name"], blob, body["modified_s"], body["utc_offset_hours"], image=body["image"])


def _mask(body: Mapping[str, Any], asked: Message) -> HotPixelMask | None:
    if body["mask"] is None:
        return None
    height, width = body["mask"]
    return HotPixelMask((height, width), asked.arrays[-1], np.zeros((0, 2)))


def _keep_to_itself() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    watch_memory(MOST_BYTES)


def _close_standard_streams() -> None:
    """A library that prints must not end up in the messages."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for descriptor in (0, 1, 2):
        os.dup2(nowhere, descriptor)
    os.close(nowhere)
