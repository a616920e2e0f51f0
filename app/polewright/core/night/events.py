"""Everything that can happen in a night, as frozen values. `at_s` is the night's own time: seconds that only grow.

The engine computes outside (solving, axis, following) and feeds the results in as events; what the person says or
does comes in the same way. A recorded list of these events ends in the same state, bit for bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polewright.core.axis_reasons import AxisRefusal
from polewright.core.drift.reading import DriftReading, Side
from polewright.core.drift.reasons import DriftRefusal
from polewright.core.errors import UsageError
from polewright.core.flexure import Flexure
from polewright.core.model import Atmosphere, Site, TargetPole
from polewright.core.night.measured import FollowedAxis, MeasuredAxis, PlacedFrame
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.plan.tonight import Planned
from polewright.core.screws.angles import Screw
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.core.unsolved import FrameReason

NOW = 0.0  # in place of the time of an event that is stamped when it is posted
NEW_SCREW = ScrewMemory()
LARGEST_CLOCK_S = 36525 * 86400.0  # chosen: a century; a camera without a clock begins in 1970


@dataclass(frozen=True)
class Event:
    """Base of all events."""

    at_s: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.at_s):
            raise UsageError(f"{type(self).__name__} needs a finite time, not {self.at_s}.")


# the person


@dataclass(frozen=True)
class NightStarted(Event):
    """Site, target and rig are known. `pole_altitude_rad` is that of the target pole, refraction included if wanted.

    `tolerance_rad` is the error allowed tonight, that of `imaging` when a plan was given. The RA axis is not turned
    to where `obstacles` stand. The memories of screws and locks come from the profile of `rig`.
    `air`: what refraction is computed with; None: the standard atmosphere of the site. `walking`: the eye leads the
    hand while frames come fast enough; False: turns are told (so were all nights of older records). `told`: the
    person prefers told turns for now.
    `flexure`: how the camera gives against the axis; None: errors are those of the stars alone, as in older records.
    `clock_ahead_s`: by how much the frames' times are ahead of UTC (behind: negative); it is taken off them.
    `at_rest`: streaks drawn while the axis is turned are no places of the turn; False: they are, as in older records.
    """

    site: Site
    target: TargetPole
    pole_altitude_rad: float
    tolerance_rad: float
    obstacles: tuple[Obstacle, ...] = ()
    azimuth: ScrewMemory = NEW_SCREW
    altitude: ScrewMemory = NEW_SCREW
    imaging: Planned | None = None
    rig: str = ""
    locks: LockMemory = NEW_LOCKS
    air: Atmosphere | None = None
    walking: bool = False
    told: bool = False
    flexure: Flexure | None = None
    clock_ahead_s: float = 0.0
    at_rest: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        _check_pole(self.pole_altitude_rad)
        _check(0.0 < self.tolerance_rad < 0.2, "tolerance (radians)", self.tolerance_rad)
        _check_clock(self.clock_ahead_s)


@dataclass(frozen=True)
class NextAsked(Event):
    """Done with this stage, or with what the instruction asks."""


@dataclass(frozen=True)
class BackAsked(Event):
    """To the stage before."""


@dataclass(frozen=True)
class RestartAsked(Event):
    """Begin this stage again."""


@dataclass(frozen=True)
class PauseAsked(Event):
    """Take no more frames in for now."""


@dataclass(frozen=True)
class ResumeAsked(Event):
    """Go on."""


@dataclass(frozen=True)
class UndoAsked(Event):
    """Take the last click back."""


@dataclass(frozen=True)
class TripodBumped(Event):
    """Somebody walked into the tripod: measure the axis anew."""


@dataclass(frozen=True)
class ScrewTurned(Event):
    """The person says they turned a screw. `turns`, clockwise positive, is what they read off its head.

    None: as told, which is only as good as the hand.
    """

    screw: Screw
    turns: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        _check(self.turns is None or abs(self.turns) <= 100.0, "number of turns", self.turns)


@dataclass(frozen=True)
class LessonAsked(Event):
    """The person wants a screw learned well, by a few turns of its own; while that goes on: enough of it."""

    screw: Screw


@dataclass(frozen=True)
class BaseLocked(Event):
    """The locks of the base are tight."""


@dataclass(frozen=True)
class BaseUnlocked(Event):
    """The locks are loose again."""


@dataclass(frozen=True)
class TrackingSwitched(Event):
    """The clock drive was switched on or off."""

    on: bool


@dataclass(frozen=True)
class LeadSwitched(Event):
    """Who leads the hand at a screw: the eye, while frames come fast enough, or turns that are told in numbers."""

    told: bool


@dataclass(frozen=True)
class TargetChanged(Event):
    """Another target pole; its altitude comes with it. The axis is measured against it from the same frames."""

    target: TargetPole
    pole_altitude_rad: float

    def __post_init__(self) -> None:
        super().__post_init__()
        _check_pole(self.pole_altitude_rad)


@dataclass(frozen=True)
class SkyMended(Event):
    """Site, air or the frames' clock are stated anew in the middle of the night; as in NightStarted.

    `stepped_s`: by how much the frames' clock itself was set meanwhile (forwards: positive); nothing is stated anew.
    """

    site: Site
    pole_altitude_rad: float
    air: Atmosphere
    clock_ahead_s: float = 0.0
    stepped_s: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        _check_pole(self.pole_altitude_rad)
        _check_clock(self.clock_ahead_s)
        _check_clock(self.stepped_s)


@dataclass(frozen=True)
class RigMended(Event):
    """Another rig's profile, or the same with other optics, from now on; its memories as in NightStarted."""

    rig: str
    azimuth: ScrewMemory = NEW_SCREW
    altitude: ScrewMemory = NEW_SCREW
    locks: LockMemory = NEW_LOCKS
    flexure: Flexure | None = None


@dataclass(frozen=True)
class ToleranceChanged(Event):
    """Another plan for tonight, and the tolerance that it needs; `imaging` None: by the person's own word."""

    tolerance_rad: float
    imaging: Planned | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        _check(0.0 < self.tolerance_rad < 0.2, "tolerance (radians)", self.tolerance_rad)


@dataclass(frozen=True)
class Accepted(Event):
    """Good enough for the person: stop here and prove it."""


@dataclass(frozen=True)
class GuidingSwitched(Event):
    """Whether something guides or dithers the mount during the imaging run; the watch is kept accordingly."""

    on: bool


@dataclass(frozen=True)
class ShiftPutAway(Event):
    """The person has read of the shifts found so far and images on."""


@dataclass(frozen=True)
class DriftAsked(Event):
    """Watch the drift of the stars instead of turning the RA axis; `side` of the meridian that is free. `stood`: the
    mount has stood for half an hour or longer, and settles no more. `ask`: whether guiding is off is asked before
    frames count; records of before did not."""

    side: Side = "east"
    stood: bool = False
    ask: bool = False


@dataclass(frozen=True)
class GuidingTold(Event):
    """The answer to whether guiding is off, in both axes, while the drift is watched."""

    off: bool


@dataclass(frozen=True)
class DeclinationNudged(Event):
    """The declination is nudged now and left there, to show that nothing guides it."""


# the frames


@dataclass(frozen=True)
class FrameSolved(Event):
    """A frame was placed on the sky. `landed_s`: when its file was complete; None in older records."""

    frame: PlacedFrame
    landed_s: float | None = None


@dataclass(frozen=True)
class FrameUnsolved(Event):
    """A frame could not be used, and why. `landed_s`: when its file was complete; None in older records."""

    name: str
    why: FrameReason
    stars_detected: int = 0
    landed_s: float | None = None


@dataclass(frozen=True)
class AxisMeasured(Event):
    """The answer to EstimateAxis."""

    axis: MeasuredAxis


@dataclass(frozen=True)
class AxisRefused(Event):
    """The answer to EstimateAxis when the frames do not support one."""

    why: AxisRefusal


@dataclass(frozen=True)
class AxisFollowed(Event):
    """The answer to FollowAxis."""

    frame: str
    axis: FollowedAxis


@dataclass(frozen=True)
class DriftMeasured(Event):
    """The answer to FitDrift."""

    reading: DriftReading


@dataclass(frozen=True)
class DriftRefused(Event):
    """The answer to FitDrift when the frames do not tell an axis."""

    why: DriftRefusal


# the world


@dataclass(frozen=True)
class FolderLost(Event):
    """The frame folder cannot be reached."""

    reason: str = ""


@dataclass(frozen=True)
class FolderBack(Event):
    """The frame folder is there again."""


@dataclass(frozen=True)
class Ticked(Event):
    """Time passed and nothing else. `measuring`: a frame that has landed is not measured yet."""

    measuring: bool = False


AnyEvent = (
    NightStarted
    | NextAsked
    | BackAsked
    | RestartAsked
    | PauseAsked
    | ResumeAsked
    | UndoAsked
    | TripodBumped
    | ScrewTurned
    | LessonAsked
    | BaseLocked
    | BaseUnlocked
    | TrackingSwitched
    | LeadSwitched
    | TargetChanged
    | SkyMended
    | RigMended
    | ToleranceChanged
    | Accepted
    | GuidingSwitched
    | ShiftPutAway
    | DriftAsked
    | GuidingTold
    | DeclinationNudged
    | FrameSolved
    | FrameUnsolved
    | AxisMeasured
    | AxisRefused
    | AxisFollowed
    | DriftMeasured
    | DriftRefused
    | FolderLost
    | FolderBack
    | Ticked
)


def _check(good: bool, what: str, value: object) -> None:
    if not good:
        raise UsageError(f"The {what} cannot be {value}.")


def _check_pole(altitude_rad: float) -> None:
    _check(0.0 <= altitude_rad <= math.pi, "pole altitude (radians)", altitude_rad)


def _check_clock(ahead_s: float) -> None:
    _check(abs(ahead_s) <= LARGEST_CLOCK_S, "offset of the clock (s)", ahead_s)
