"""The oracle of directions: a night on a simulated mount whose truth is asked of the mount's own geometry.

The mount (simulate/mount.py) shares no code with the estimator. Its axis is a vector in the frame of the place
(x east, y north, z up): east is where x is positive, high is where z is more than the pole's. Which way to turn a
screw is found by turning a copy of the mount. Nothing of the program's own signs is used for a truth.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Literal

import numpy as np

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import (
    Atmosphere,
    Attitude,
    Camera,
    FloatArray,
    Site,
    SkyFrame,
    SkyPosition,
    TargetPole,
    Utc,
)
from polewright.core.night.advice import Advice
from polewright.core.night.events import AnyEvent, FrameSolved, NextAsked, NightStarted, ScrewTurned
from polewright.core.night.measured import PlacedFrame
from polewright.core.night.states import Running
from polewright.core.screws.angles import Screw
from polewright.runtime.course import Course
from polewright.simulate.mount import Mount, MountSpec
from polewright.simulate.screw import ScrewSpec
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.ui.view_model import View

East = Literal["east", "west"]
Height = Literal["high", "low"]
Turned = Literal["clockwise", "anticlockwise"]

START = Utc(2461357.5, 0.8)
POLE_DEG = 50.0
AIRLESS = Atmosphere(0.0)
CAMERA = Camera(1280, 960, 48000.0)
NOISE = np.diag([1e-12, 1e-12, 1e-10])
FRAME_S = 4.0
OFF_EAST_DEG, OFF_UP_DEG = 1.0, 0.55
WORTH_ARCMIN = 60.0


@dataclass(frozen=True)
class Case:
    """One row of the table: how the axis stands, and what a clockwise turn of both screws does."""

    southern: bool
    east: East
    height: Height
    clockwise: Turned  # which way each screw moves what it moves when it is turned clockwise

    @property
    def name(self) -> str:
        return f"{'south' if self.southern else 'north'}-{self.east}-{self.height}-{self.clockwise}"


CASES = [
    Case(southern, east, height, clockwise)
    for southern in (False, True)
    for east in ("east", "west")
    for height in ("high", "low")
    for clockwise in ("clockwise", "anticlockwise")
]
SENSES: tuple[Turned, Turned] = ("clockwise", "anticlockwise")


def mount_of(case: Case) -> Mount:
    """A mount that stands as the case says: in the south its pole lies at azimuth 180, and east is to its left."""
    off = OFF_EAST_DEG if case.east == "east" else -OFF_EAST_DEG
    worth = WORTH_ARCMIN if case.clockwise == "clockwise" else -WORTH_ARCMIN
    return Mount(
        MountSpec(
            180.0 - off if case.southern else off,
            POLE_DEG + (OFF_UP_DEG if case.height == "high" else -OFF_UP_DEG),
            case.southern,
            azimuth=ScrewSpec(worth),
            altitude=ScrewSpec(worth),
            roll_deg=25.0,
        )
    )


@dataclass
class DirectionNight:
    """A night on such a mount. `begin_h` is the hour angle at which the camera begins, west positive."""

    case: Case
    begin_h: float = -3.0
    now_s: float = 0.0
    course: Course = field(default_factory=Course)
    events: list[AnyEvent] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.mount = mount_of(self.case)
        lat = math.radians(-POLE_DEG if self.case.southern else POLE_DEG)
        self.site = Site(math.degrees(lat), 12.0, 100.0)
        dec, hour = math.copysign(math.radians(40.0), lat), math.radians(15.0 * self.begin_h)
        south = math.cos(dec) * math.cos(hour) * math.sin(lat) - math.sin(dec) * math.cos(lat)
        up = math.sin(lat) * math.sin(dec) + math.cos(lat) * math.cos(dec) * math.cos(hour)
        self.now_s = self.mount.point(0.0, np.array([-math.cos(dec) * math.sin(hour), -south, up])) + 10.0
        begun = NightStarted(
            0.0, self.site, TargetPole.TRUE, math.radians(POLE_DEG), math.radians(20.0 / 3600.0), air=AIRLESS
        )
        self.take(begun)
        self.take(NextAsked(self.now_s))

    def take(self, event: AnyEvent) -> None:
        """An event, and the answers that the state asks for."""
        self.events.append(event)
        for effect in self.course.take(event):
            answer = self.course.answer(effect, event.at_s)
            if answer is not None:
                self.take(answer)

    def look(self, frames: int = 1) -> None:
        """Frames of what the camera of the mount sees: its attitude, exactly."""
        for _ in range(frames):
            self.now_s += FRAME_S
            attitude = Attitude(self.mount.attitude(self.now_s), NOISE)
            frame = SkyFrame(
                f"f{self.now_s:.0f}",
                START.plus_seconds(self.now_s),
                attitude,
                CAMERA,
                40,
                0.4,
                SkyPosition(10.0, 40.0),
            )
            self.take(FrameSolved(self.now_s, PlacedFrame.of(frame)))

    def rotate(self, west_deg: float) -> None:
        """Turn the RA axis; the camera looks again."""
        self.now_s = self.mount.rotate_ra(self.now_s, west_deg)
        self.look()

    def measure(self) -> None:
        """Three places, 40 degrees apart, as the hands of the mount turn it westward or eastward."""
        self.look()
        way = 1.0 if self.begin_h < 0.0 else -1.0
        for _ in range(2):
            self.rotate(40.0 * way)

    def turn(self, screw: Screw, sense: Turned, turns: float = 0.25) -> None:
        """A hand turns a screw and says how far; the camera looks on until the axis rests."""
        signed = turns if sense == "clockwise" else -turns
        self.now_s = self._screw(self.mount, screw).turn(self.now_s, signed)
        self.take(ScrewTurned(self.now_s, screw, signed))
        self.look(4)

    def learned(self) -> DirectionNight:
        """Measured, and both screws tried by a turn the way that makes things worse (slack there is none)."""
        self.measure()
        for screw in Screw:
            worse = next(sense for sense in SENSES if sense != self.way_home(screw))
            self.turn(screw, worse)
        return self

    @property
    def state(self) -> Running:
        assert isinstance(self.course.state, Running)
        return self.course.state

    @property
    def advice(self) -> Advice:
        return self.course.advice

    @property
    def view(self) -> View:
        """What the window shows now."""
        return present(self.state, self.advice, Extras(self.now_s))

    # the truth

    @property
    def axis_enu(self) -> FloatArray:
        return self.mount.axis_enu(self.now_s)

    @property
    def side(self) -> East:
        """Where the upper end of the axis lies."""
        return "east" if self.axis_enu[0] > 0.0 else "west"

    @property
    def height(self) -> Height:
        return "high" if _height_deg(self.axis_enu) > POLE_DEG else "low"

    def way_home(self, screw: Screw) -> Turned:
        """Which turn of a screw brings the axis nearer, found by doing it to a copy of the mount."""
        return min(SENSES, key=lambda sense: self._off_after(screw, sense))

    def hour_angle_deg(self) -> float:
        """Of the camera, about the axis of the earth; west positive (the textbook's formula)."""
        x, y, z = self.mount.attitude(self.now_s)[:, 2]
        lat = math.radians(self.site.lat_deg)
        return math.degrees(math.atan2(-x, z * math.cos(lat) - y * math.sin(lat)))

    def turn_behind_the_mount_deg(self, west_deg: float) -> float:
        """How the camera goes round for somebody behind the mount who looks along the axis: + clockwise."""
        there = copy.deepcopy(self.mount)
        end_s = there.rotate_ra(self.now_s, west_deg)
        up = np.array([0.0, 0.0, 1.0])
        axis = self.axis_enu
        right = np.cross(axis, up)  # of one who looks along the axis with the head up
        cameras = (self.mount.attitude(self.now_s)[:, 2], there.attitude(end_s)[:, 2])
        angles = [math.atan2(float(c @ right), float(c @ np.cross(right, axis))) for c in cameras]
        return math.degrees(math.remainder(angles[1] - angles[0], 2.0 * math.pi))

    def _off_after(self, screw: Screw, sense: Turned) -> float:
        there = copy.deepcopy(self.mount)
        end_s = self._screw(there, screw).turn(self.now_s, 0.02 if sense == "clockwise" else -0.02)
        axis = there.axis_enu(end_s + 60.0)
        return float(abs(axis[0]) if screw is Screw.AZIMUTH else abs(_height_deg(axis) - POLE_DEG))

    @staticmethod
    def _screw(mount: Mount, screw: Screw) -> Any:
        return mount.azimuth if screw is Screw.AZIMUTH else mount.altitude


def _height_deg(axis: FloatArray) -> float:
    return math.degrees(math.atan2(float(axis[2]), float(np.hypot(axis[0], axis[1]))))


@cache
def learned(case: Case) -> DirectionNight:
    """The axis measured, both screws tried; the altitude screw is asked for."""
    return DirectionNight(case).learned()


@cache
def azimuth_left(case: Case) -> DirectionNight:
    """The same, with the altitude put right: the azimuth screw is asked for."""
    night = DirectionNight(case).learned()
    off_arcmin = abs(ARCMIN_PER_RAD * math.asin(night.axis_enu[2]) - 60.0 * POLE_DEG)
    night.turn(Screw.ALTITUDE, night.way_home(Screw.ALTITUDE), off_arcmin / 60.0)
    return night
