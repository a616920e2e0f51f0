"""What a step of the night asks of the engine, as frozen values. Whoever runs the night carries them out in order."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto

from polewright.core.drift.compare import Comparison
from polewright.core.drift.live import DriftSample
from polewright.core.drift.reading import DriftReading
from polewright.core.flexure_memory import NightBend
from polewright.core.model import TargetPole
from polewright.core.night.measured import MeasuredAxis, PlacedFrame
from polewright.core.screws.angles import Screw
from polewright.core.screws.lock_memory import LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.core.vigil.watch import Shift


class Objection(Enum):
    """Why an event changes nothing."""

    PAUSED = auto()
    AS_IT_WAS = auto()
    NO_CLICK = auto()
    SCREWS_LATER = auto()
    SCREWS_REST_WHILE_MEASURED = auto()
    SCREWS_REST_WHILE_PROVED = auto()
    NO_SUCH_TURN = auto()
    SCREW_KNOWN = auto()
    SITE_UNKNOWN = auto()
    BEGUN_ALREADY = auto()
    FIRST_STAGE = auto()
    NOT_MEASURED = auto()
    AXIS_UNKNOWN = auto()
    NOT_PROVED = auto()
    NOTHING_MEASURED = auto()
    NOTHING_TO_ACCEPT = auto()
    NOTHING_WATCHED = auto()
    NOT_YET_WATCHED = auto()
    DRIFT_ELSEWHERE = auto()
    DRIFT_SET_ASIDE = auto()
    AXIS_SET_ASIDE = auto()
    OTHER_STAGE = auto()
    NIGHT_OVER = auto()


@dataclass(frozen=True)
class Refused:
    """The event changed nothing. `screw`: the one that it named, if any. Words: words/objections.py."""

    objection: Objection
    screw: Screw | None = None


@dataclass(frozen=True)
class EstimateAxis:
    """Estimate the axis from these frames against this target; answer with AxisMeasured or AxisRefused."""

    frames: tuple[PlacedFrame, ...]
    target: TargetPole


@dataclass(frozen=True)
class StartFollowing:
    """Follow the axis from now on, starting from the axis of these frames; no answer.

    With `axis`, known by drift, from that axis and the last frame.
    """

    frames: tuple[PlacedFrame, ...]
    target: TargetPole
    axis: MeasuredAxis | None = None


@dataclass(frozen=True)
class FollowAxis:
    """Read the axis off this frame; answer with AxisFollowed."""

    frame: PlacedFrame


@dataclass(frozen=True)
class FitDrift:
    """Fit the axis to the drift of these frames; answer with DriftMeasured or DriftRefused.

    `wanted_rad`: how sure each component is to become; `rested_s`: how long the mount has stood, at the middle of it;
    `nudged`: the declination was nudged.
    """

    samples: tuple[DriftSample, ...]
    target: TargetPole
    wanted_rad: float
    rested_s: float
    nudged: bool = False


@dataclass(frozen=True)
class KeepDrift:
    """A drift has had its say: write it into the night's record, with the comparison, if any."""

    reading: DriftReading
    comparison: Comparison | None = None


@dataclass(frozen=True)
class SaveScrew:
    """A screw has taught something: keep its memory with the rig."""

    screw: Screw
    memory: ScrewMemory


@dataclass(frozen=True)
class SaveLocks:
    """Tightening the locks has been measured: keep what it does with the rig."""

    memory: LockMemory


@dataclass(frozen=True)
class SaveFlexure:
    """Two turns of the RA axis have told how the rig bends: keep it as this night's word."""

    bend: NightBend


@dataclass(frozen=True)
class ShiftFound:
    """The mount was moved during the imaging run: write it down. Times of the shift are the night's own."""

    shift: Shift


@dataclass(frozen=True)
class KeepNight:
    """The alignment is proved, or accepted as it is: write the night's result."""


Effect = (
    Refused
    | EstimateAxis
    | StartFollowing
    | FollowAxis
    | FitDrift
    | KeepDrift
    | SaveScrew
    | SaveLocks
    | SaveFlexure
    | ShiftFound
    | KeepNight
)
