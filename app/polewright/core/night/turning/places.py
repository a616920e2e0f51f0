"""Which frames of a turn about the RA axis are kept, and how far the axis has been turned."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from polewright.core.attitude import rotation_vector
from polewright.core.axis_reasons import FarFromPole, TooUnsure
from polewright.core.model import Matrix
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.night.states import Capture

SAME_PLACE_RAD = math.radians(8.0)  # turned by less, a frame tells nothing new of the axis (chosen)
KEPT_PER_PLACE = 3  # frames averaged at one place; seeing is then 0.6 of one
PLACES_WANTED = 3  # two frames have no check at all
# of RA in all; two steps (chosen)
WANTED_SPAN_RAD = math.radians(80.0)
STEP_RAD = math.radians(40.0)  # two steps make the wanted span
# times as unsure as the surest frame of the turn; chosen: streaks were so 38 to 120 times (measured), and thin cloud
# makes a place at rest ten times as unsure
UNSURE = 20.0
AT_REST_RAD = math.radians(0.5)  # between two frames; chosen: beyond what a drive that is off does in two minutes


def turned_rad(first: PlacedFrame, second: PlacedFrame) -> float:
    """Angle between two attitudes, 0 to pi."""
    return _angle_between(first.camera_to_enu, second.camera_to_enu)


@lru_cache(maxsize=512)  # the frames of a capture are held against each other at every event
def _angle_between(first: Matrix, second: Matrix) -> float:
    return float(np.linalg.norm(rotation_vector(np.array(second) @ np.array(first).T)))


def keep_frame(capture: Capture, frame: PlacedFrame) -> Capture:
    """The capture with one more frame; of one place (within 8 degrees) no more than three are kept."""
    if frame.name in {kept.name for kept in capture.frames}:
        return capture
    same_place = sum(turned_rad(kept, frame) < SAME_PLACE_RAD for kept in capture.frames)
    if same_place >= KEPT_PER_PLACE:
        return capture
    rotation = turned_rad(capture.frames[0], frame) if capture.frames else 0.0
    return replace(capture, frames=(*capture.frames, frame), rotation_rad=(*capture.rotation_rad, rotation))


def taken_in_motion(capture: Capture, frame: PlacedFrame, before: PlacedFrame | None) -> bool:
    """Whether a frame was exposed while the axis was being turned: it is far less sure than another one of the turn,
    and the one before it looked elsewhere.

    The pieces of its streaks that match stars are off by up to five of its sigmas (16 degrees of sky, 208 px of
    streak, `rehearse --hand walking --scenario wide-lens --seed 601`: such frames made the clutch suspect); the next
    frame at rest says more.
    """
    if not capture.frames or before is None or turned_rad(before, frame) <= AT_REST_RAD:
        return False
    return _unsure_rad(frame) > UNSURE * min(map(_unsure_rad, capture.frames))


def _unsure_rad(frame: PlacedFrame) -> float:
    return math.sqrt(sum(frame.covariance_rad2[i][i] for i in range(3)))


def places(capture: Capture) -> tuple[PlacedFrame, ...]:
    """The first frame of each place, in the order of the turn."""
    found: list[PlacedFrame] = []
    for frame in capture.frames:
        if all(turned_rad(frame, other) >= SAME_PLACE_RAD for other in found):
            found.append(frame)
    return tuple(found)


def contradicted(capture: Capture) -> bool:
    """Whether its places cannot be of one turn: three of them, a step apart and more, and no axis nearly fits."""
    unfit = isinstance(capture.refusal, TooUnsure | FarFromPole)
    return unfit and len(places(capture)) >= PLACES_WANTED and max(capture.rotation_rad) >= STEP_RAD


def without_first_place(capture: Capture) -> Capture:
    """The turn as if it had begun at its second place."""
    first = capture.frames[0]
    later = Capture(left_out=True)
    for frame in capture.frames:
        later = later if turned_rad(first, frame) < SAME_PLACE_RAD else keep_frame(later, frame)
    return later


def answers(capture: Capture, axis: MeasuredAxis) -> bool:
    """Whether this axis was measured from the capture's own frames (and not from ones set aside since)."""
    names = tuple(frame.name for frame in capture.frames)
    return len(axis.frames) >= 2 and names[: len(axis.frames)] == axis.frames
