"""Where to take the proof: another part of the sky, chosen by what it tells about a tube that bends.

A second turn over the sky of the first repeats its error: sag shifts the axis up or down by sag * sin(declination)
* cos(latitude), whatever the hour angle; a pull moves it by about the pull, square to the middle of the turn,
whatever the declination.

So the second turn goes to other hours, mostly the other side of the meridian, and where sag counts to another
declination; of all that is free the place is taken that leaves the axis surest when the tube may bend far more
than is usual. A turn is told by how it would really go: as far as the sky is free, and no surer than bearings, air
and stars let it be. By the stars alone every lever is long enough, and the camera stays where it pulls alike.

Decided 2026-11-29. Another sky for the proof. Proofs over the same sky were believed with a pull of 60" per radian
in 12 nights of 18. The declination moves by 15 to 40 degrees or not at all: less tells little of sag, more is a slew
of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from polewright.core.angles import rotation_about, unit
from polewright.core.axis.fit import rotation_angles, shared_axis
from polewright.core.axis.nuisances import ANOMALOUS_RAD, PLACE_RAD
from polewright.core.bending import bending_pair
from polewright.core.budget import Budget, Chance, Nuisance, Part
from polewright.core.covariance import covariance_of
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.joint import TAIL_RAD, Word, joint
from polewright.core.model import FloatArray
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Running, SecondSky
from polewright.core.night.turning.places import STEP_RAD, WANTED_SPAN_RAD, places
from polewright.core.night.turning.room import hour_angle_rad
from polewright.core.plan.sky_choice import LOWEST_DEG, axis_factor, behind, horizontal_deg
from polewright.core.sky.places import east_and_up, horizontal_to_enu

LEAST_MOVE_DEG, MOST_MOVE_DEG, MOVE_STEP_DEG = 15.0, 40.0, 5.0
LEAST_TURN_RAD = STEP_RAD + math.radians(15.0)  # three places, the last step worth a hand on the telescope
FARTHEST_DEG = 70.0  # from the equator: nearer to the pole a small move is a large one in hour angle (chosen)
START_STEP_H, EARLIEST_H, LATEST_H = 0.5, 0.5, 4.0  # where a turn away from the meridian begins
LOOK_H = 0.1  # step at which the way of a turn is looked at: 1.5 degrees
WORTH_MOVING = 0.9  # of the uncertainty that staying leaves: for less nobody is sent elsewhere
ARRIVED_DEG, ARRIVED_H = 8.0, 1.25  # as near as a hand moves an axis without circles
_SMALL_RAD = 1e-4
_Z = np.array([0.0, 0.0, 1.0])


def second_sky(state: Running) -> SecondSky | None:
    """Where to take the proof; None where the sky of the first turn is the best that is free."""
    frame, first = state.last_frame, _first_budget(state)
    if frame is None or first is None:
        return None
    stay = _left_rad(state, first, _declination_deg(state, frame), _turn_again_h(state))
    found = min(_candidates(state, first, frame), key=lambda sky: sky.left_rad, default=None)
    return found if found is not None and found.left_rad < WORTH_MOVING * stay else None


def arrived(state: Running, frame: PlacedFrame) -> bool:
    """Whether the camera looks where the proof is to begin."""
    sky = state.second_sky
    if sky is None:
        return True
    near = abs(_declination_deg(state, frame) - state.plan.side * sky.declination_deg) <= ARRIVED_DEG
    return near and abs(_hour_angle_h(state, frame) - sky.hour_angle_h) <= ARRIVED_H


def declination_moved_rad(state: Running, first: PlacedFrame, second: PlacedFrame) -> float:
    """By how much the camera's distance from the pole differs between two frames."""
    return abs(math.radians(_declination_deg(state, first) - _declination_deg(state, second)))


def bending_columns(attitudes: FloatArray, pole: FloatArray, directions: FloatArray) -> FloatArray:
    """(2, 2): what a unit of sag and of pull does to (east, up) of the axis that attitudes (N, 3, 3) share.

    Units and signs of core/flexure.py; by bending every frame a little and fitting again, without weights.
    """
    axis, in_camera = shared_axis(attitudes, pole)
    turned = rotation_angles(attitudes, axis)
    across = unit(np.cross(_Z, in_camera))
    sags = [rotation_about(*_about(np.cross(c[:, 2], -_Z) * _SMALL_RAD)) @ c for c in attitudes]
    pulls = [c @ rotation_about(across, -_SMALL_RAD * float(angle)) for c, angle in zip(attitudes, turned)]
    moved = [(shared_axis(np.stack(bent), pole)[0] - axis) / _SMALL_RAD for bent in (sags, pulls)]
    return np.asarray(directions @ np.stack(moved, axis=1))


def _about(vector: FloatArray) -> tuple[FloatArray, float]:
    size = float(np.linalg.norm(vector))
    return (vector / size, size) if size > 0.0 else (_Z, 0.0)


def _candidates(state: Running, first: Budget, frame: PlacedFrame) -> Iterator[SecondSky]:
    """Every free start of a turn, at this or another declination and on either side of the meridian."""
    here, side = _declination_deg(state, frame), state.plan.side
    moves = np.arange(LEAST_MOVE_DEG, MOST_MOVE_DEG + 1e-9, MOVE_STEP_DEG)
    starts = np.arange(EARLIEST_H, LATEST_H + 1e-9, START_STEP_H)
    for move in (0.0, *moves, *-moves):
        for hour in (*starts, *-starts):
            toward_pole, start = here + float(move), float(hour)
            hours = _turn_h(state, toward_pole, start) if abs(toward_pole) <= FARTHEST_DEG or not move else None
            if hours is not None:
                left = _left_rad(state, first, toward_pole, hours)
                yield SecondSky(start, side * round(toward_pole), side * here, left)


def _turn_again_h(state: Running) -> FloatArray:
    """The hour angles of the first turn, back over which the second goes where the camera stays."""
    return np.array([_hour_angle_h(state, place) for place in places(state.capture)])


def _turn_h(state: Running, toward_pole_deg: float, hour: float) -> FloatArray | None:
    """The three hour angles of a turn from there, away from the meridian: as far as wanted, and as it is free above
    25 degrees; None where that is too short."""
    wanted_h = math.degrees(WANTED_SPAN_RAD) / 15.0
    along = np.arange(0.0, wanted_h + 0.5 * LOOK_H, LOOK_H)
    altitude, azimuth = horizontal_deg(state.plan.site, hour + math.copysign(1.0, hour) * along, toward_pole_deg)
    free = altitude >= LOWEST_DEG
    for obstacle in state.plan.obstacles:
        free &= ~behind(obstacle, altitude, azimuth)
    end = int(np.argmin(free)) - 1 if not free.all() else len(along) - 1
    far_h = float(along[end]) if end >= 0 else 0.0
    if far_h < math.degrees(LEAST_TURN_RAD) / 15.0:
        return None
    step_h = math.degrees(STEP_RAD) / 15.0
    return hour + math.copysign(1.0, hour) * np.array([0.0, step_h, far_h])


def _left_rad(state: Running, first: Budget, toward_pole_deg: float, hours: FloatArray) -> float:
    """Total sigma of the axis after a turn through these hours, with a tube that bends unusually."""
    columns = bending_columns(_attitudes(state, toward_pole_deg, hours), state.plan.pole, _directions(state))
    flexure = state.plan.flexure or FLEXURE_PRIOR
    noise = axis_factor(np.radians(15.0 * hours), math.radians(90.0 - toward_pole_deg))
    altitude, _ = horizontal_deg(state.plan.site, hours, toward_pole_deg)
    air = float(np.mean(1.0 / np.maximum(np.sin(np.radians(altitude)), 0.1))) ** 0.6
    bearing = axis_factor(np.radians(15.0 * hours), math.radians(90.0 - toward_pole_deg), 1.0)
    variance = (noise * air * _frame_sigma_rad(state)) ** 2 + bearing**2 * (PLACE_RAD**2 + ANOMALOUS_RAD**2)
    second = Budget((Chance(Part.STARS, covariance_of(np.eye(2) * 0.5 * variance)),), bending_pair(columns, flexure))
    nowhere = np.zeros(2)
    both = joint(Word(nowhere, first), Word(nowhere, second), tail_weight=0.0)  # sigmas are those of the first
    return math.sqrt(float(np.trace(both.covariance_rad2)))


def _surprising(budget: Budget, flexure: Flexure) -> Budget:
    """The same budget with the pull as wide as its surprises make it: the spread of the mixture of core/joint.py."""
    wide = math.hypot(flexure.own_pull_sigma, math.sqrt(flexure.surprise) * TAIL_RAD)
    columns = tuple(replace(c, sigma=wide) if c.nuisance is Nuisance.PULL else c for c in budget.columns)
    return replace(budget, columns=columns)


def _first_budget(state: Running) -> Budget | None:
    """What the first turn knows, with sag and pull as they may unusually be; None without frames of a turn."""
    axis, frames = state.capture.axis, state.capture.frames
    if axis is None or len(frames) < 2:
        return None
    flexure = state.plan.flexure or FLEXURE_PRIOR
    if axis.budget is not None:
        return _surprising(axis.budget, flexure)
    attitudes = np.stack([np.array(frame.camera_to_enu) for frame in frames])
    columns = bending_columns(attitudes, state.plan.pole, _directions(state))
    bends = bending_pair(columns, flexure)
    return _surprising(Budget((Chance(Part.STARS, axis.covariance_rad2),), bends), flexure)


def _frame_sigma_rad(state: Running) -> float:
    """Pointing error of one frame, one axis, as the first turn had them."""
    variances = [0.5 * (f.covariance_rad2[0][0] + f.covariance_rad2[1][1]) for f in state.capture.frames]
    return math.sqrt(sum(variances) / len(variances))


def _attitudes(state: Running, toward_pole_deg: float, hours: FloatArray) -> FloatArray:
    """Made-up frames (N, 3, 3), camera to ENU, of a camera at that distance from the pole."""
    altitude, azimuth = horizontal_deg(state.plan.site, np.zeros(1), toward_pole_deg)
    z = horizontal_to_enu(np.radians(azimuth), np.radians(altitude))[0]
    x = np.array([1.0, 0.0, 0.0])
    start = np.stack([x, np.cross(z, x), z], axis=1)
    side = state.plan.side
    return np.stack([rotation_about(state.plan.pole, -side * math.radians(15.0 * float(h))) @ start for h in hours])


def _directions(state: Running) -> FloatArray:
    return east_and_up(state.plan.pole, state.plan.site)


def _declination_deg(state: Running, frame: PlacedFrame) -> float:
    """Of the middle of the frame, toward the elevated pole, about the pole as the axis sees it."""
    return math.degrees(math.asin(float(np.clip(frame.boresight @ state.plan.pole, -1.0, 1.0))))


def _hour_angle_h(state: Running, frame: PlacedFrame) -> float:
    """West positive."""
    return math.degrees(hour_angle_rad(frame.boresight, state.plan.pole)) / 15.0
