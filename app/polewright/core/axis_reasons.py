"""Why frames do not support an axis, and what is to be doubted about one that they do. Sentences: words/axis.py."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from polewright.core.not_measurable import NotMeasurable, RecordedRefusal
from polewright.core.unsolved import FrameReason, ImpossibleSky

# no axis


@dataclass(frozen=True)
class TooFewPlaces(NotMeasurable):
    """So many frames, two are needed."""

    frames: int


@dataclass(frozen=True)
class TooFewPlaced(NotMeasurable):
    """So many frames of so many could be placed on the sky; the first that could not, and why."""

    placed: int
    frames: int
    frame: str
    why: FrameReason


@dataclass(frozen=True)
class SkyImpossible(NotMeasurable):
    """A frame cannot come from this site and time: none of them can be trusted."""

    why: ImpossibleSky


@dataclass(frozen=True)
class MirroredAndNot(NotMeasurable):
    """One of the two frames is mirrored, the other is not."""

    frame: str
    first: str


@dataclass(frozen=True)
class OtherField(NotMeasurable):
    """The two frames show fields of different width."""

    frame: str
    width_rad: float
    first: str
    first_width_rad: float


@dataclass(frozen=True)
class TurnedUpright(NotMeasurable):
    """The first frame is as wide as the other is high: somebody turned the pixels of one by a quarter."""

    frame: str
    first: str


@dataclass(frozen=True)
class LongApart(NotMeasurable):
    """The two frames belong to two captures."""

    first: str
    last: str
    hours: float


@dataclass(frozen=True)
class SameInstant(NotMeasurable):
    """The two frames carry one time and show two pieces of sky."""

    first: str
    second: str


@dataclass(frozen=True)
class TooAlike(NotMeasurable):
    """The RA axis hardly turned between the frames; by how much to turn it on."""

    span_rad: float
    turn_rad: float


@dataclass(frozen=True)
class FarFromPole(NotMeasurable):
    """The frames turn about a point so far from the pole."""

    offset_rad: float


@dataclass(frozen=True)
class TooUnsure(NotMeasurable):
    """The axis would be uncertain by so much; by how much to turn the RA axis on."""

    sigma_rad: float
    turn_rad: float


FramesApart = MirroredAndNot | OtherField | TurnedUpright | LongApart | SameInstant  # frames of several captures

AxisRefusal = (
    TooFewPlaces | TooFewPlaced | SkyImpossible | FramesApart | TooAlike | FarFromPole | TooUnsure | RecordedRefusal
)

# an axis with a doubt


@dataclass(frozen=True)
class SameExposure:
    """A frame was given twice and counted once."""

    frame: str
    twin: str


@dataclass(frozen=True)
class LowPole:
    """The pole stands so low that air may show it so much higher or lower; the covariance says so."""

    sigma_rad: float = 0.0  # 0 in records of before


@dataclass(frozen=True)
class TwoFrames:
    """Two frames cannot check each other."""


@dataclass(frozen=True)
class Unsure:
    """The axis is uncertain by so much; how much further to turn, and what that would bring."""

    sigma_rad: float
    turn_rad: float
    after_rad: float


@dataclass(frozen=True)
class FramesDisagree:
    """No single mishap explains the frames: chi-square, its degrees of freedom, and the scatter allowed for."""

    chi2: float
    dof: int
    scatter_rad: float
    frames: int


class Mishap(Enum):
    """Kinds of mishap, by what moved."""

    SLIP = "declination slip"
    SLIPS = "declination slips again and again"
    KICK = "mount moved"
    TIME = "wrong time"
    ODD = "frame that does not fit"


@dataclass(frozen=True)
class MishapFound:
    """What probably happened at a frame, number `index` of so many, by how much (TIME: the sky's turn that the wrong
    time stands for). `stays`: from there on. `undone`: the axis allows for it; else its covariance covers it."""

    mishap: Mishap
    frame: str
    size_rad: float
    index: int
    frames: int
    stays: bool = False
    undone: bool = True


@dataclass(frozen=True)
class ClocksDiffer:
    """Frame times and the times of their files differ: ahead (positive) or behind, s. An axis error of `offset_rad`
    (None: not known) is turned by that, which moves it by `effect_rad`; `widened`: the covariance says so."""

    ahead_s: float
    offset_rad: float | None
    effect_rad: float
    widened: bool = False


@dataclass(frozen=True)
class RecordedDoubt:
    """What an older version wrote down in words (services/log_migration.py); `disagree`: that the frames do not fit
    together and no single one is to blame."""

    text: str
    disagree: bool = False


AxisDoubt = SameExposure | LowPole | TwoFrames | Unsure | FramesDisagree | MishapFound | ClocksDiffer | RecordedDoubt


def is_disagreement(doubt: AxisDoubt) -> bool:
    """Whether the frames do not fit together and no single one is to blame."""
    return isinstance(doubt, FramesDisagree) or (isinstance(doubt, RecordedDoubt) and doubt.disagree)


# while the screws turn


@dataclass(frozen=True)
class TrackingSeemsSwitched:
    """The RA axis seems to have been made to follow the sky, or to have been stopped."""

    on: bool


@dataclass(frozen=True)
class AxisTurned:
    """The RA axis moved otherwise than a drive moves it, with the screws or alone; how unsure the reading is."""

    turn_rad: float
    screws_too: bool
    sigma_rad: float


@dataclass(frozen=True)
class OlderFrame:
    """A frame is older than the one before it."""

    frame: str


@dataclass(frozen=True)
class TakenInMotion:
    """A frame's stars lie so badly that something must have moved."""

    frame: str


@dataclass(frozen=True)
class CameraPosition:
    """A position the camera can reach by turning the RA axis alone, right-handed by `turn_rad` about the axis.

    `sigma_rad` is the total sigma of (east, up) that one frame gives there while the screws turn.
    """

    turn_rad: float
    azimuth_deg: float
    altitude_deg: float
    sigma_rad: float


class Look(Enum):
    """Where the camera looks when it can hardly see the screws turn."""

    ZENITH = "near the zenith"
    EAST = "far to the east"
    WEST = "far to the west"
    ELSEWHERE = "elsewhere"


@dataclass(frozen=True)
class WeakView:
    """The camera looks where it can hardly see the screws turn; how unsure a frame is there, and where it would be
    better (None: nowhere by turning the RA axis alone)."""

    look: Look
    sigma_rad: float
    better: CameraPosition | None


FollowDoubt = TrackingSeemsSwitched | AxisTurned | OlderFrame | TakenInMotion | WeakView | RecordedDoubt
