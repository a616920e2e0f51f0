"""How much room the RA axis has to turn, and where to turn it next."""

from __future__ import annotations

import math

import numpy as np

from polewright.core.angles import turned_about
from polewright.core.model import FloatArray
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Capture, Running
from polewright.core.night.turning.places import STEP_RAD, WANTED_SPAN_RAD, places
from polewright.core.plan.sky_choice import behind

# altitude down to which the tube is led: below, the air counts more than the turn gains
LOWEST_RAD = math.radians(25.0)
FARTHEST_RAD = math.radians(130.0)  # beyond it the sign of a rotation becomes ambiguous and cables wind up
SMALLEST_STEP_RAD = math.radians(12.0)  # a smaller one is not worth a hand on the telescope (chosen)
PAST_MERIDIAN_RAD = math.radians(7.5)  # half an hour
_STEPS_RAD = np.arange(math.radians(2.0), FARTHEST_RAD, math.radians(2.0))  # fine enough for a wall (chosen)


def next_rotation_rad(state: Running, capture: Capture) -> float:
    """The next turn of the RA axis, west positive: on in the direction begun while the sky there is free.

    It stays on one side of the meridian where that leaves room enough: past it many mounts run into their own legs.
    """
    done = places(capture)
    begun = turned_west_rad(done[0], done[-1], state) if len(done) > 1 else 0.0
    for crossing in (False, True):
        step = _onward(state, done, begun, crossing) if begun else _outset(state, done[0], crossing)
        if abs(step) >= SMALLEST_STEP_RAD:
            return step
    return 0.0


def _outset(state: Running, first: PlacedFrame, crossing: bool) -> float:
    """The first turn: to the side with more room."""
    west, east = (_room_rad(state, first, way, crossing) for way in (1.0, -1.0))
    room, way = (west, 1.0) if west >= min(east, WANTED_SPAN_RAD) else (east, -1.0)
    enough = SMALLEST_STEP_RAD if crossing else STEP_RAD
    return way * min(room, STEP_RAD) if room >= enough else 0.0


def _onward(state: Running, done: tuple[PlacedFrame, ...], begun: float, crossing: bool) -> float:
    """The next turn: further on, or else back to the other side of where it began."""
    way = math.copysign(1.0, begun)
    room = min(_room_rad(state, done[-1], way, crossing), FARTHEST_RAD - abs(begun))
    if room >= SMALLEST_STEP_RAD:
        return way * min(room, STEP_RAD)
    room = _room_rad(state, done[0], -way, crossing)
    return -way * min(room, STEP_RAD) - begun if room >= SMALLEST_STEP_RAD else 0.0


def _room_rad(state: Running, frame: PlacedFrame, way: float, crossing: bool) -> float:
    """How far the camera can be turned that way (west +1) with free sky all along, above 25 degrees or no lower."""
    axis, start, side = state.plan.pole, frame.boresight, state.plan.side
    floor = min(LOWEST_RAD, math.asin(float(np.clip(start[2], -1.0, 1.0))) - 1e-3)
    begin = hour_angle_rad(start, axis)
    room = 0.0
    for angle, there in zip(_STEPS_RAD.tolist(), turned_about(axis, start, -side * way * _STEPS_RAD), strict=True):
        altitude = math.asin(min(max(float(there[2]), -1.0), 1.0))
        if altitude < floor or _hidden(state, there, altitude):
            break
        hour = begin + way * angle
        if not crossing and hour * begin < 0.0 and abs(hour) > PAST_MERIDIAN_RAD:
            break
        room = angle
    return room


def _hidden(state: Running, direction: FloatArray, altitude_rad: float) -> bool:
    azimuth = np.array(math.degrees(math.atan2(float(direction[0]), float(direction[1]))) % 360.0)
    altitude = np.array(math.degrees(altitude_rad))
    return any(bool(behind(obstacle, altitude, azimuth)) for obstacle in state.plan.obstacles)


def hour_angle_rad(boresight: FloatArray, axis: FloatArray) -> float:
    """Hour angle about the axis, west positive."""
    meridian = np.array([0.0, -axis[2], axis[1]]) * (1.0 if axis[1] >= 0.0 else -1.0)
    return math.atan2(-float(boresight[0]), float(boresight @ meridian))


def turned_west_rad(first: PlacedFrame, last: PlacedFrame, state: Running) -> float:
    """How far the camera was turned about the axis from one frame to the other, west positive, -pi to pi."""
    axis, side = state.plan.pole, state.plan.side
    turn = np.array(last.camera_to_enu) @ np.array(first.camera_to_enu).T
    sine = 0.5 * float(axis @ np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]))
    cosine = 0.5 * (float(np.trace(turn)) - 1.0)
    return -side * math.atan2(sine, cosine)


def hour_angle_of(state: Running) -> float:
    """Hour angle of the latest frame about the pole, rad, west positive; 0 without a frame."""
    if state.last_frame is None:
        return 0.0
    return hour_angle_rad(state.last_frame.boresight, state.plan.pole)
