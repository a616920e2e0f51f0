"""Where to take the proof: another part of the sky, chosen by what it tells about a tube that bends.

A second turn over the sky of the first repeats its error: sag shifts the axis up or down by sag * sin(declination)
* cos(latitude), whatever the hour angle; a pull moves it by about the pull, square to the middle of the turn,
whatever the declination.

So the second turn goes to another declination and to other hours, and of all that is free the place is taken that
leaves the axis surest when the tube bends three times as much as is usual.

Decided 2026-11-29. Another sky for the proof. Proofs over the same sky were believed with a pull of 60" per radian
in 12 nights of 18. The declination moves by 15 to 40 degrees: less tells little of sag, more is a slew of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from polewright.core.angles import rotation_about, unit
from polewright.core.axis.fit import rotation_angles, shared_axis
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.covariance import covariance_of
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.joint import Word, joint
from polewright.core.model import FloatArray
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Running, SecondSky
from polewright.core.night.turning.places import STEP_RAD
from polewright.core.night.turning.room import hour_angle_rad
from polewright.core.plan.sky_choice import LOWEST_DEG, axis_factor, behind, horizontal_deg
from polewright.core.sky.places import east_and_up, horizontal_to_enu

UNUSUAL = 3.0  # times the usual bending: what the choice is made against (chosen)
LEAST_MOVE_DEG, MOST_MOVE_DEG, MOVE_STEP_DEG = 15.0, 40.0, 5.0
STEPS = 2  # of 40 degrees each: three places
FARTHEST_DEG = 70.0  # from the equator: nearer to the pole a small move is a large one in hour angle (chosen)
START_STEP_H, EARLIEST_H, LATEST_H = 0.5, 0.5, 4.0  # where a turn away from the meridian begins
WORTH_MOVING = 0.9  # of the uncertainty that staying leaves: for less nobody is sent elsewhere
ARRIVED_DEG, ARRIVED_H = 8.0, 1.25  # as near as a hand moves an axis without circles
_SMALL_RAD = 1e-4
_Z = np.array([0.0, 0.0, 1.0])


def second_sky(state: Running) -> SecondSky | None:
    """Where to take the proof; None where the sky of the first turn is the best that is free."""
    frame, first = state.last_frame, _first_budget(state)
    if frame is None or first is None:
        return None
    stay = _left_rad(state, first, _declination_deg(state, frame), _hour_angle_h(state, frame))
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
    """Every free start of a turn, at another declination and on either side of the meridian."""
    here = _declination_deg(state, frame)
    moves = np.arange(LEAST_MOVE_DEG, MOST_MOVE_DEG + 1e-9, MOVE_STEP_DEG)
    hours = np.arange(EARLIEST_H, LATEST_H + 1e-9, START_STEP_H)
    for toward_pole in (here + sign * float(move) for move in moves for sign in (-1.0, 1.0)):
        for hour in (sign * float(h) for h in hours for sign in (-1.0, 1.0)):
            if abs(toward_pole) <= FARTHEST_DEG and _free(state, toward_pole, hour):
                left = _left_rad(state, first, toward_pole, hour)
                side = state.plan.side
                yield SecondSky(hour, side * round(toward_pole), side * here, left)


def _free(state: Running, toward_pole_deg: float, hour: float) -> bool:
    """Whether three places from there, away from the meridian, are above 25 degrees and behind nothing."""
    hours = np.linspace(hour, hour + math.copysign(_span_h(), hour), 9)
    altitude, azimuth = horizontal_deg(state.plan.site, hours, toward_pole_deg)
    hidden = [bool(np.any(behind(obstacle, altitude, azimuth))) for obstacle in state.plan.obstacles]
    return bool(np.all(altitude >= LOWEST_DEG)) and not any(hidden)


def _span_h() -> float:
    return STEPS * math.degrees(STEP_RAD) / 15.0


def _left_rad(state: Running, first: Budget, toward_pole_deg: float, hour: float) -> float:
    """Total sigma of the axis after a proof there, with a tube that bends unusually."""
    step = math.copysign(math.degrees(STEP_RAD) / 15.0, hour)
    hours: FloatArray = hour + step * np.arange(STEPS + 1, dtype=np.float64)
    columns = bending_columns(_attitudes(state, toward_pole_deg, hours), state.plan.pole, _directions(state))
    flexure = state.plan.flexure or FLEXURE_PRIOR
    altitude, _ = horizontal_deg(state.plan.site, hours, toward_pole_deg)
    air = float(np.mean(1.0 / np.maximum(np.sin(np.radians(altitude)), 0.1))) ** 0.6
    noise = axis_factor(np.radians(15.0 * hours), math.radians(90.0 - toward_pole_deg)) * air
    own = np.eye(2) * 0.5 * (noise * _frame_sigma_rad(state)) ** 2
    second = Budget((Chance(Part.STARS, covariance_of(own)),), _bends(columns, flexure))
    nowhere = np.zeros(2)
    both = joint(Word(nowhere, first), Word(nowhere, second), tail_weight=0.0)  # sigmas are those of the first
    return math.sqrt(float(np.trace(both.covariance_rad2)))


def _bends(columns: FloatArray, flexure: Flexure) -> tuple[Column, ...]:
    sag, pull = columns[:, 0], columns[:, 1]
    return (
        Column(Nuisance.SAG, float(sag[0]), float(sag[1]), UNUSUAL * flexure.sag_sigma_rad),
        Column(Nuisance.PULL, float(pull[0]), float(pull[1]), UNUSUAL * flexure.pull_sigma),
    )


def _first_budget(state: Running) -> Budget | None:
    """What the first turn knows, with sag and pull as they may unusually be; None without frames of a turn."""
    axis, frames = state.capture.axis, state.capture.frames
    if axis is None or len(frames) < 2:
        return None
    if state.capture.combined and axis.budget is not None:
        return axis.budget
    attitudes = np.stack([np.array(frame.camera_to_enu) for frame in frames])
    columns = bending_columns(attitudes, state.plan.pole, _directions(state))
    own = axis.covariance_rad2 if axis.budget is None else axis.budget.by_chance
    flexure = state.plan.flexure or FLEXURE_PRIOR
    return Budget((Chance(Part.STARS, own),), _bends(columns, flexure))


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
