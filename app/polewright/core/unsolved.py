"""Why a frame could not be used: one leading reason, by cause. What is said about it: words/frames.py."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import assert_never

from polewright.core.star_trouble import (
    CapOn,
    OutOfFocus,
    Smeared,
    StarTrouble,
    TooBright,
    TooFewStars,
    TooSmall,
    Trailed,
)


class FrameTrouble(Enum):
    """Kinds of reasons, as far as the coach acts on them differently."""

    COVERED = "covered"
    NO_STARS = "no stars"
    TOO_FEW_STARS = "too few stars"
    OUT_OF_FOCUS = "out of focus"
    TRAILED = "trailed"
    SATURATED = "saturated"
    NO_MATCH = "no match"
    NO_TIME = "no time"
    WRONG_SKY = "wrong sky"  # by site and time below the horizon, or in daylight
    UNREADABLE = "unreadable"
    NOT_FOLLOWED = "not followed"  # camera, declination or too much moved since the capture


LIKE_CLOUDS = (FrameTrouble.NO_STARS, FrameTrouble.TOO_FEW_STARS, FrameTrouble.NO_MATCH)
SMEARED = (FrameTrouble.TRAILED, FrameTrouble.OUT_OF_FOCUS, FrameTrouble.NO_MATCH)  # as by a hand at the mount


@dataclass(frozen=True)
class Elongated:
    """Most of the objects are longer than wide, no two alike: the mount moved, or the wind shook it."""

    objects: int


@dataclass(frozen=True)
class ScaleUnknown:
    """Too few stars to try every scale by."""

    found: int
    needed: int


@dataclass(frozen=True)
class NoMatch:
    """Objects enough, but no star pattern at this scale. `learned`: it is that of the last frame; `others_too`: every
    other scale was tried as well."""

    objects: int
    scale_arcsec_px: float
    learned: bool = False
    others_too: bool = False


@dataclass(frozen=True)
class NoMatchAnywhere:
    """Objects enough, but no star pattern at any scale, for fields between these widths."""

    objects: int
    narrowest_deg: float
    widest_deg: float


@dataclass(frozen=True)
class ThinCatalogue:
    """So narrow a field that the catalogue has too few stars in it."""

    objects: int
    field_deg: float
    in_catalogue: int
    needed: int


@dataclass(frozen=True)
class TooWide:
    """Objects enough, but so wide a field that the lens bends them out of any pattern."""

    objects: int
    field_deg: float
    widest_deg: float


@dataclass(frozen=True)
class NoTime:
    """The frame does not say when it was taken."""


@dataclass(frozen=True)
class BelowHorizon:
    """By site and time the frame shows sky so far below the horizon."""

    frame: str
    depth_deg: float


@dataclass(frozen=True)
class Daylight:
    """By site and time the Sun stands so high."""

    frame: str
    sun_deg: float


@dataclass(frozen=True)
class OtherCamera:
    """The frame was not taken with the camera of the capture."""

    frame: str


@dataclass(frozen=True)
class AxisLeapt:
    """By this frame the axis would have moved farther than screws do."""

    step_rad: float


@dataclass(frozen=True)
class Unreadable:
    """The file is no frame, or a damaged one: what the reader says about it."""

    problem: str


@dataclass(frozen=True)
class Fault:
    """A fault in the program kept the frame from being measured."""

    frame: str


@dataclass(frozen=True)
class RecordedReason:
    """What an older version wrote down in words (services/log_migration.py)."""

    trouble: FrameTrouble
    reason: str
    cure: str


Unmatched = ScaleUnknown | NoMatch | NoMatchAnywhere | ThinCatalogue | TooWide
ImpossibleSky = BelowHorizon | Daylight
NotFollowed = OtherCamera | AxisLeapt
FrameReason = (
    StarTrouble | Elongated | Unmatched | NoTime | ImpossibleSky | NotFollowed | Unreadable | Fault | RecordedReason
)


@dataclass(frozen=True)
class Unsolved:
    """The frame could not be placed on the sky, or not used there."""

    why: FrameReason
    stars_detected: int = 0


def trouble_of(why: FrameReason) -> FrameTrouble:
    """The kind of a reason."""
    match why:
        case CapOn():
            return FrameTrouble.COVERED
        case TooBright():
            return FrameTrouble.SATURATED
        case Trailed() | Smeared() | Elongated():
            return FrameTrouble.TRAILED
        case OutOfFocus():
            return FrameTrouble.OUT_OF_FOCUS
        case TooFewStars(found=0):
            return FrameTrouble.NO_STARS
        case TooFewStars() | ScaleUnknown():
            return FrameTrouble.TOO_FEW_STARS
        case TooSmall() | NoMatch() | NoMatchAnywhere() | ThinCatalogue() | TooWide():
            return FrameTrouble.NO_MATCH
        case NoTime():
            return FrameTrouble.NO_TIME
        case BelowHorizon() | Daylight():
            return FrameTrouble.WRONG_SKY
        case OtherCamera() | AxisLeapt():
            return FrameTrouble.NOT_FOLLOWED
        case Unreadable() | Fault():
            return FrameTrouble.UNREADABLE
        case RecordedReason():
            return why.trouble
        case _:
            assert_never(why)


def exposure_factor(why: FrameReason) -> float:
    """By how much the exposure is to change; 1 where it is not to blame."""
    if isinstance(why, TooFewStars | TooBright):
        return why.exposure_factor
    match trouble_of(why):
        case FrameTrouble.TOO_FEW_STARS | FrameTrouble.NO_STARS:
            return 4.0
        case FrameTrouble.SATURATED:
            return 0.1
        case _:
            return 1.0
