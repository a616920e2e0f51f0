"""The state of the night: everything needed to go on after a crash, and nothing else. Frozen, comparable, plain."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property
from typing import Literal

from polewright.core.axis_reasons import AxisRefusal, FollowDoubt
from polewright.core.drift.reading import pole_of
from polewright.core.errors import UsageError
from polewright.core.flexure import Flexure
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.night.drift_watch import DriftWatch
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.night.rest import Reading, Rest, rest_offset
from polewright.core.offset import (
    PROVED,
    SURE_ENOUGH,
    Covariance,
    Offset,
    frames_exhausted,
    good_enough,
    probability_inside,
)
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.plan.tonight import Planned, ToleranceOrigin
from polewright.core.screws.angles import LARGEST_POLE_ALTITUDE_RAD, Screw, ScrewAngles, screw_angles
from polewright.core.screws.learning import learn
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory, ScrewRate
from polewright.core.screws.sky_turn import ScrewPath, sky_turn_rad
from polewright.core.screws.walk import REACTION_S, Walk
from polewright.core.unsolved import FrameReason, FrameTrouble, trouble_of
from polewright.core.vigil.watching import Watching

NO_COVARIANCE: Covariance = ((0.0, 0.0), (0.0, 0.0))
CLOUDED_FRAMES = 3  # in a row: one or two are a gust or an aircraft
WALKING_S = 3.2  # frames as fast as this lead a hand (three seconds, and what a computer adds)
# where the fine stage begins, whichever is larger: one slow turn away (chosen)
FINE_TOLERANCES, FINE_RAD = 6.0, math.radians(3.0 / 60.0)
HIGHEST_POLE_RAD = math.radians(75.0)  # above it a base slightly out of level turns the azimuth screw's path much


class Stage(Enum):
    """The five stages, in order."""

    ORIENTATION = "orientation"
    CAPTURE = "axis-rotation capture"
    ROUGH = "rough correction"
    FINE = "fine correction"
    PROOF = "proof"


@dataclass(frozen=True)
class NightPlan:
    """What was settled before the first frame. `pole_altitude_rad` is that of the target pole,
    `air` what bends the light tonight, `flexure` how the camera gives: None in records that knew of the stars only.

    `clock_ahead_s`: by how much the frames' times are ahead of UTC, taken off when they are placed.

    `origin` says where the tolerance comes from; `imaging` is the plan that was given last.
    """

    site: Site
    target: TargetPole
    pole_altitude_rad: float
    tolerance_rad: float
    obstacles: tuple[Obstacle, ...] = ()
    origin: ToleranceOrigin = ToleranceOrigin.USUAL
    imaging: Planned | None = None
    air: Atmosphere = field(kw_only=True)
    walking: bool = field(default=False, kw_only=True)
    told: bool = field(default=False, kw_only=True)
    flexure: Flexure | None = field(default=None, kw_only=True)
    clock_ahead_s: float = field(default=0.0, kw_only=True)
    at_rest: bool = field(default=False, kw_only=True)

    @property
    def southern(self) -> bool:
        return self.site.lat_deg < 0.0

    @property
    def side(self) -> float:
        """+1 in the north, -1 in the south."""
        return -1.0 if self.southern else 1.0

    @property
    def bearing_share(self) -> float:
        """What a turn of the axis along the horizon, as the azimuth screw makes it, is on the sky: so many times."""
        return math.cos(min(self.pole_altitude_rad, LARGEST_POLE_ALTITUDE_RAD))

    @property
    def pole(self) -> FloatArray:
        """Unit vector (3,), ENU, of the target pole: a stand-in for the axis, good to a few degrees."""
        return pole_of(self.pole_altitude_rad, self.side)

    @property
    def fine_limit_rad(self) -> float:
        """Below this total offset the correction is fine."""
        return max(FINE_TOLERANCES * self.tolerance_rad, FINE_RAD)


@dataclass(frozen=True)
class TurnReport:
    """A turn the person says they made, not yet seen in the frames; `read_off` the head of the screw, or as told."""

    screw: Screw
    turns: float
    at_s: float
    read_off: bool = False


@dataclass(frozen=True)
class AskedTurn:
    """The turn the coach asks for, from the latest rest."""

    screw: Screw
    turns: float


@dataclass(frozen=True)
class Lesson:
    """A screw that is being learned by turns of its own (core/screws/lesson.py); how many were made so far."""

    screw: Screw
    made: int = 0


@dataclass(frozen=True)
class Trouble:
    """Frames that could not be used, one after the other: the latest reason, how many, since when; `starless`: how
    many of them as under clouds; `smeared`: whether any was, as by a hand that turns the mount; `dark`: it has been
    dark for longer than a turn takes, whatever the way back smears since."""

    why: FrameReason
    count: int
    since_s: float
    starless: int = 0
    smeared: bool = False
    dark: bool = False

    @property
    def mostly_dark(self) -> bool:
        """Whether most of them were as under clouds."""
        return 2 * self.starless > self.count

    @property
    def cause(self) -> FrameTrouble:
        """The kind of the latest reason."""
        return trouble_of(self.why)


@dataclass(frozen=True)
class Capture:
    """A turn of the RA axis: the frames kept, oldest first, and what they say so far.

    `rotation_rad`: how far each frame is turned from the first, as a plain angle between attitudes, >= 0. `by_drift`:
    nothing was turned, the axis is from the drift of the stars and `frames` holds the latest frame of it. `combined`:
    the bending that an earlier turn and this one have shown together is taken off its axis. `left_out`: its first
    place was, because the telescope had been pointed elsewhere after it.
    """

    frames: tuple[PlacedFrame, ...] = ()
    rotation_rad: tuple[float, ...] = ()
    axis: MeasuredAxis | None = None
    refusal: AxisRefusal | None = None
    by_drift: bool = False
    combined: bool = False
    left_out: bool = False


@dataclass(frozen=True)
class SecondSky:
    """Where the proof is to begin: hour angle (h, west positive) and declination; `from_declination_deg` is that of
    the camera when it was chosen. `left_rad`: what a proof there leaves uncertain when the tube bends unusually.
    """

    hour_angle_h: float
    declination_deg: float
    from_declination_deg: float
    left_rad: float


@dataclass(frozen=True)
class Handling:
    """Hands on the mount.

    `opened_at`: the rest before the move now going on; None while nothing moves. `working`: the screw in hand;
    `last_turned`: the one of the last counted turn; `unconfirmed`: the one whose last move nobody reported.
    `touched_s`: when the mount was last touched or seen moving; `closed_s`: when the last move was seen to end.
    `turns_made`: single turns; `goes`: turns of one screw in one direction, one after the other, are one go;
    `direction`: of the last turn. `paths`: which way reported turns moved the axis. `walk`: the turn in progress that
    the eye leads; `lead_s`: by how much a stop has to lead for this hand. `closed_arcmin`: how far
    the last move went, in the coordinates of azimuth and altitude.
    """

    opened_at: Offset | None = None
    opened_sigmas_rad: tuple[float, float] = (0.0, 0.0)
    reports: tuple[TurnReport, ...] = ()
    asked: AskedTurn | None = None
    working: Screw | None = None
    last_turned: Screw | None = None
    unconfirmed: Screw | None = None
    touched_s: float = -math.inf
    closed_s: float = -math.inf
    turns_made: int = 0
    goes: int = 0
    direction: float = 0.0
    paths: tuple[ScrewPath, ...] = ()
    walk: Walk | None = None
    lead_s: float = REACTION_S
    closed_arcmin: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Locks:
    """The locks of the base. `ready`: the rest at which the coach asked to tighten them, first at `ready_since_s`, up
    to the next motion (the move closed last is that of `ready_closed_s`): hands come before words. `as_trial`: that
    was what it asked for.

    `before`: the rest before they were tightened, until the shift is measured.
    `shift_rad`: what tightening did last time, (east, up). `aim_rad`: where to bring the axis before tightening:
    by what it did tonight, and before that by what it usually does.
    """

    tight: bool = False
    ready: Offset | None = None
    ready_closed_s: float = -math.inf
    ready_since_s: float = -math.inf
    as_trial: bool = False
    before: Offset | None = None
    shift_rad: tuple[float, float] | None = None
    aim_rad: tuple[float, float] = (0.0, 0.0)
    memory: LockMemory = NEW_LOCKS

    @property
    def by_habit(self) -> bool:
        """The aim lies beside the pole by what earlier nights have told."""
        return not self.tight and self.shift_rad is None and self.aim_rad != (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What goes on whether or not the night has begun: frames come, the person pauses, the folder is lost.

    `trouble`: frames that could not be used, one after the other. `tracking`: of the clock drive, as far as known.
    """

    now_s: float = 0.0
    paused: bool = False
    folder_lost: bool = False
    folder_reason: str = ""
    frames_used: int = 0
    frames_unsolved: int = 0
    last_frame: PlacedFrame | None = None
    last_frame_s: float | None = None
    arrived_s: float | None = None  # the latest frame, usable or not: when it was measured
    landed_s: float | None = None  # the same: when its file was complete
    measuring: bool = False  # a frame has landed that is not measured yet
    gaps_s: tuple[float, ...] = ()  # between the latest frames
    interval_s: float = 0.0  # as frames usually come; 0: not known
    trouble: Trouble | None = None
    tracking: str = "unknown"

    @property
    def shown_s(self) -> float:
        """The moment that the frames show: while files wait to be measured, when the latest measured one landed."""
        return self.landed_s if self.measuring and self.landed_s is not None else self.now_s

    @property
    def clouded(self) -> bool:
        """Whether the sky seems to have closed: it was clear before, and no frame can be used any more."""
        return self.trouble is not None and self.trouble.count >= CLOUDED_FRAMES and self.last_frame is not None


@dataclass(frozen=True, kw_only=True)
class Waiting(Seen):
    """Before the night has begun: site and target are not known, so nothing is planned, measured or aligned."""

    @property
    def stage(self) -> Literal[Stage.ORIENTATION]:
        """Where the night will begin."""
        return Stage.ORIENTATION

    @property
    def plan(self) -> None:
        return None

    @property
    def offset(self) -> None:
        return None

    @property
    def aligned(self) -> Literal[False]:
        return False


@dataclass(frozen=True, kw_only=True)
class Running(Seen):
    """The night at one moment. `refuted`: a second turn of the RA axis has contradicted a claim tonight.
    `second_sky`: where the proof is to begin, until the camera looks there. `shaken_rad2`: by how much every turn of
    the RA axis so far scattered (variance of the axis, one direction), in itself or against the one before.
    `returns`: how often a proof has led back to the screws, or contradicted and was begun anew. `doubted`: a proof
    was begun anew because its places did not agree.

    `set_down_s`: since when, as far as is known, the tripod stands where it stands. `undo`: before the last click.
    """

    plan: NightPlan
    stage: Stage = Stage.ORIENTATION
    capture: Capture = field(default_factory=Capture)
    rest: Rest = field(default_factory=Rest)
    trail: tuple[Reading, ...] = ()
    reading_warnings: tuple[FollowDoubt, ...] = ()
    azimuth: ScrewMemory = field(default_factory=ScrewMemory)
    altitude: ScrewMemory = field(default_factory=lambda: ScrewMemory(bends=True))
    handling: Handling = field(default_factory=Handling)
    lesson: Lesson | None = None
    locks: Locks = field(default_factory=Locks)
    proof: Capture = field(default_factory=Capture)
    drift: DriftWatch | None = None
    proved: bool = False
    accepted: bool = False
    watching: Watching | None = None
    refuted: bool = False
    second_sky: SecondSky | None = None
    shaken_rad2: tuple[float, ...] = ()
    returns: int = 0
    doubted: bool = False
    set_down_s: float = 0.0
    undo: Running | None = None

    @property
    def turn(self) -> Capture:
        """The turn of the RA axis that the frames of this stage belong to: the first, or the second as the proof."""
        return self.proof if self.stage is Stage.PROOF else self.capture

    def with_turn(self, turn: Capture) -> Running:
        """The same with another one in its place."""
        return replace(self, proof=turn) if self.stage is Stage.PROOF else replace(self, capture=turn)

    @property
    def shared(self) -> Covariance:
        """What the capture left uncertain: common to every later reading."""
        return self.capture.axis.covariance_rad2 if self.capture.axis else NO_COVARIANCE

    def memory(self, screw: Screw) -> ScrewMemory:
        """The memory of a screw."""
        return self.azimuth if screw is Screw.AZIMUTH else self.altitude

    def rate(self, screw: Screw) -> ScrewRate | None:
        """What is known of a screw."""
        return learn(self.memory(screw))

    @cached_property
    def offset(self) -> Offset | None:
        """Where the axis is now, as far as known: the mean of the rest, else the capture."""
        found = rest_offset(self.rest, self.shared)
        if found is not None and self.capture.axis is not None:
            found = replace(found, budget=self.capture.axis.budget)
        if found is None and self.capture.axis is not None:
            axis = self.capture.axis
            found = Offset(axis.east_rad, axis.up_rad, axis.covariance_rad2, budget=axis.budget)
        return found

    @property
    def sky_turn_rad(self) -> float | None:
        """By how much the screws show the sky to be turned by a wrong longitude or clock; None when they do not."""
        high = self.plan.pole_altitude_rad > HIGHEST_POLE_RAD
        return None if high else sky_turn_rad(self.handling.paths)

    def angles(self, offset: Offset) -> ScrewAngles:
        """An offset in screw coordinates."""
        return screw_angles(
            offset.east_rad, offset.up_rad, offset.covariance_rad2, self.plan.pole_altitude_rad, self.plan.southern
        )

    @property
    def aligned(self) -> bool:
        """Whether the alignment is proved, or taken as it is: the imaging run may begin."""
        return self.stage is Stage.PROOF and (self.proved or self.accepted)

    @property
    def walking(self) -> bool:
        """Whether the eye can lead the hand: the person likes it so, and frames come fast enough."""
        return self.plan.walking and not self.plan.told and 0.0 < self.interval_s <= WALKING_S and self.lesson is None

    @property
    def turning_axis(self) -> bool:
        """Whether the RA axis is being turned: for the capture, or for a proof that is still open."""
        return self.stage is Stage.CAPTURE or (self.stage is Stage.PROOF and not self.aligned)

    @property
    def aim_rad(self) -> tuple[float, float]:
        """Where to bring the axis, (east, up): the pole, or beside it while the locks are still to be tightened."""
        return (0.0, 0.0) if self.locks.tight else self.locks.aim_rad

    def left_rad(self, screw: Screw) -> float | None:
        """How far the axis is from the aim on the sky, + east for the azimuth screw, + up for the altitude screw."""
        offset, (east_rad, up_rad) = self.offset, self.aim_rad
        if offset is None:
            return None
        return offset.east_rad - east_rad if screw is Screw.AZIMUTH else offset.up_rad - up_rad

    @property
    def inside(self) -> float:
        """Probability that the axis is within the tolerance of the aim."""
        offset = self.offset
        return 0.0 if offset is None else probability_inside(offset, self.plan.tolerance_rad, self.aim_rad)

    @property
    def stop_here(self) -> bool:
        """Whether the axis is near enough to the aim, and that is sure, or as sure as frames of this sky can make it.

        By the stars alone it has to be as sure as a proof, once one has failed.
        """
        offset, tolerance_rad = self.offset, self.plan.tolerance_rad
        sure = PROVED if self.refuted and self.plan.flexure is None else SURE_ENOUGH
        return offset is not None and (
            good_enough(offset, tolerance_rad, self.aim_rad, sure)
            or frames_exhausted(offset, tolerance_rad, self.aim_rad, sure)
        )


NightState = Waiting | Running


def begun(state: NightState) -> Running:
    """The state of a night that has begun; UsageError before that."""
    if isinstance(state, Waiting):
        raise UsageError("The night has not begun: its site and target are not known.")
    return state
