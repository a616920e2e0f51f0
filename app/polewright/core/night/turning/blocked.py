"""A place without stars, where there were stars before: something stands in the way there, or a cloud does.

Turning back tells which. Where the stars come back the place is struck: an obstacle stands there from now on, like
one that was told before the night, and every later choice goes round it. Where they do not it is clouds, until
somebody turns back later. Nor is a place struck to which nobody has turned yet: the cloud leaves the mount exactly
where it was, a hand does not.
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
NEVER_LEFT_RAD_S = NEVER_LEFT_RAD / GIVEN_UP_S  # 0.9" a second: and so on, behind a longer cloud
# to either side on the sky, and above: nobody knows where it begins, and half a step of 40 degrees is left (chosen)
HALF_WIDTH_DEG, ABOVE_DEG = 22.0, 10.0


def way_back(state: Running) -> RotateAxis | Point | None:
    """What leads back to the stars, while that is to be tried; None where nothing was asked."""
    return _back(state) if PATIENT_TURN_S <= dark_since_turning_s(state) < GIVEN_UP_S else None


def _back(state: Running) -> RotateAxis | Point | None:
    if _led_elsewhere(state):
        return Point(math.degrees(hour_angle_of(state)) / 15.0, _declination_deg(state))
    west_rad = _asked_west_rad(state)
    return RotateAxis(-math.degrees(west_rad)) if abs(west_rad) >= SMALLEST_STEP_RAD else None


def struck(state: Running, frame: PlacedFrame) -> Running:
    """The place asked for is struck where `frame` shows the stars of the place before, however late; else the state
    as it is."""
    last, dark_s = state.last_frame, dark_since_turning_s(state)
    if last is None or dark_s < PATIENT_TURN_S or _back(state) is None or turned_rad(last, frame) >= SAME_PLACE_RAD:
        return state
    if float(separation_rad(_on_sky(last), _on_sky(frame))) < max(NEVER_LEFT_RAD, NEVER_LEFT_RAD_S * dark_s):
        return state
    stands = _obstacle(_asked_for(state), _seen_at(frame.boresight))
    return replace(state, plan=replace(state.plan, obstacles=(*state.plan.obstacles, stands)))


def _on_sky(frame: PlacedFrame) -> FloatArray:
    return sky_to_vector(math.radians(frame.centre.ra_deg), math.radians(frame.centre.dec_deg))


def dark_since_turning_s(state: Running) -> float:
    """For how long no stars have been seen where the telescope was turned to; 0 where it was not, or they are."""
    trouble = state.trouble
    if trouble is None or not state.turning_axis or state.drift is not None or not state.clouded:
        return 0.0
    return state.shown_s - trouble.since_s if trouble.dark or trouble.mostly_dark else 0.0


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
    return _seen_at(turned_about(state.plan.pole, state.last_frame.boresight, turn)[0])


def _seen_at(direction: FloatArray) -> FloatArray:
    east, north, up = direction.tolist()
    return np.degrees([math.atan2(up, math.hypot(east, north)), math.atan2(east, north)])


def _obstacle(spot: FloatArray, seen: FloatArray) -> Obstacle:
    """Something at `spot` that leaves the place free where the stars are `seen`: half-way to it where it is near."""
    altitude_deg, azimuth_deg = spot.tolist()
    half = min(HALF_WIDTH_DEG / max(math.cos(math.radians(altitude_deg)), 0.1), 90.0)
    beside = abs((float(seen[1]) - azimuth_deg + 180.0) % 360.0 - 180.0)
    if beside <= half and float(seen[0]) < altitude_deg + ABOVE_DEG:
        half = 0.5 * beside
    return Obstacle((azimuth_deg - half) % 360.0, (azimuth_deg + half) % 360.0, altitude_deg + ABOVE_DEG)


def _declination_deg(state: Running) -> float:
    assert state.last_frame is not None
    height = float(np.clip(state.last_frame.boresight @ state.plan.pole, -1.0, 1.0))
    return state.plan.side * math.degrees(math.asin(height))
