"""A place without stars, where there were stars before: something stands in the way there, or a cloud does.

Turning back tells which. Where the stars come back the place is struck: an obstacle stands there from now on, like
one that was told before the night, and every later choice goes round it. Where they do not it is clouds. Nor is a
place struck to which nobody has turned yet: the cloud leaves the mount exactly where it was, a hand does not.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from polewright.core.angles import separation_rad, sky_to_vector, turned_about
from polewright.core.model import FloatArray
from polewright.core.night.advice import Point, RotateAxis
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Running, Stage
from polewright.core.night.turning.places import SAME_PLACE_RAD, places, turned_rad
from polewright.core.night.turning.room import SMALLEST_STEP_RAD, hour_angle_of, next_rotation_rad
from polewright.core.plan.sky_choice import Obstacle, horizontal_deg

PATIENT_TURN_S = 45.0  # turning the RA axis by 130 degrees at 3 degrees a second spoils every frame for so long
GIVEN_UP_S = 135.0  # as long as that, and twice as long again to read it and turn back (chosen): then it is clouds
# a mount that tracks behind a cloud for so long drifts by less, up to 3 degrees beside the pole (15" a second times
# the error); nobody comes back by hand so exactly (chosen)
NEVER_LEFT_RAD = math.radians(2.0 / 60.0)
# to either side on the sky, and above: nobody knows where it begins, and half a step of 40 degrees is left (chosen)
HALF_WIDTH_DEG, ABOVE_DEG = 22.0, 10.0


def way_back(state: Running) -> RotateAxis | Point | None:
    """What leads back to the stars, while that is to be tried; None where nothing was asked."""
    if not _nothing_there(state):
        return None
    if _led_elsewhere(state):
        return Point(math.degrees(hour_angle_of(state)) / 15.0, _declination_deg(state))
    west_rad = _asked_west_rad(state)
    return RotateAxis(-math.degrees(west_rad)) if abs(west_rad) >= SMALLEST_STEP_RAD else None


def struck(state: Running, frame: PlacedFrame) -> Running:
    """The place asked for is struck where `frame` shows the stars of the place before; else the state as it is."""
    last = state.last_frame
    if last is None or way_back(state) is None or turned_rad(last, frame) >= SAME_PLACE_RAD:
        return state
    if float(separation_rad(_on_sky(last), _on_sky(frame))) < NEVER_LEFT_RAD:
        return state
    return replace(state, plan=replace(state.plan, obstacles=(*state.plan.obstacles, _obstacle(_asked_for(state)))))


def _on_sky(frame: PlacedFrame) -> FloatArray:
    return sky_to_vector(math.radians(frame.centre.ra_deg), math.radians(frame.centre.dec_deg))


def _nothing_there(state: Running) -> bool:
    trouble = state.trouble
    if trouble is None or not state.turning_axis or state.drift is not None or not state.clouded:
        return False
    return 2 * trouble.starless > trouble.count and PATIENT_TURN_S <= state.now_s - trouble.since_s < GIVEN_UP_S


def _led_elsewhere(state: Running) -> bool:
    return state.stage is Stage.PROOF and state.second_sky is not None


def _asked_west_rad(state: Running) -> float:
    return next_rotation_rad(state, state.turn) if places(state.turn) else 0.0


def _asked_for(state: Running) -> FloatArray:
    """(altitude, azimuth) of the place that was asked for, degrees."""
    if state.second_sky is not None and _led_elsewhere(state):
        toward_pole_deg = state.plan.side * state.second_sky.declination_deg
        hour = np.array([state.second_sky.hour_angle_h])
        return np.concatenate(horizontal_deg(state.plan.site, hour, toward_pole_deg))
    assert state.last_frame is not None
    turn = np.array([-state.plan.side * _asked_west_rad(state)])
    east, north, up = turned_about(state.plan.pole, state.last_frame.boresight, turn)[0].tolist()
    return np.degrees([math.atan2(up, math.hypot(east, north)), math.atan2(east, north)])


def _obstacle(spot: FloatArray) -> Obstacle:
    altitude_deg, azimuth_deg = spot.tolist()
    half = min(HALF_WIDTH_DEG / max(math.cos(math.radians(altitude_deg)), 0.1), 90.0)
    return Obstacle((azimuth_deg - half) % 360.0, (azimuth_deg + half) % 360.0, altitude_deg + ABOVE_DEG)


def _declination_deg(state: Running) -> float:
    assert state.last_frame is not None
    height = float(np.clip(state.last_frame.boresight @ state.plan.pole, -1.0, 1.0))
    return state.plan.side * math.degrees(math.asin(height))
