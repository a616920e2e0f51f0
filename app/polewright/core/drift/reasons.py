"""Why a drift tells no axis, or not all of one, and what is to be doubted about it. Sentences: words/drift.py."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from polewright.core.axis_reasons import RecordedDoubt, SkyImpossible
from polewright.core.not_measurable import NotMeasurable, RecordedRefusal


@dataclass(frozen=True)
class NoFramesYet(NotMeasurable):
    """Nothing was watched so far."""


@dataclass(frozen=True)
class AllLeftOut(NotMeasurable):
    """So many frames were given, and none could be used."""

    frames: int


@dataclass(frozen=True)
class TooFewFrames(NotMeasurable):
    """So many frames in fields of three or more; so many are needed."""

    frames: int
    needed: int


@dataclass(frozen=True)
class TooShort(NotMeasurable):
    """The longest field was watched for so long; so long is needed."""

    seconds: float
    needed_s: float


@dataclass(frozen=True)
class NotTracking(NotMeasurable):
    """The camera does not follow the stars."""


@dataclass(frozen=True)
class TooFewClean(NotMeasurable):
    """So many stars are fit to find the shift of the field by."""

    stars: int
    needed: int


@dataclass(frozen=True)
class TooFewAgree(NotMeasurable):
    """So many stars moved alike."""

    stars: int
    needed: int


@dataclass(frozen=True)
class NoCommonShift(NotMeasurable):
    """The stars have no shift in common within so many pixels."""

    reach_px: float


class Sign(Enum):
    """What shows that something guides."""

    SAID = "the person says so"
    STILL = "nothing moves, not even in right ascension"
    TAKEN_BACK = "a nudge in declination was taken back"
    DRIFTS_OTHERWISE = "since a nudge in declination the stars drift otherwise"
    TURNS = "the field turns as on an axis elsewhere"
    UNTOLD = "fields long enough show nothing that runs free"


@dataclass(frozen=True)
class Guided(NotMeasurable):
    """Something guides, by the frames or by the person's word."""

    sign: Sign = Sign.STILL


@dataclass(frozen=True)
class MaybeGuided(NotMeasurable):
    """The declination is still, as in a good alignment and as in a guided mount; nobody said which."""


@dataclass(frozen=True)
class TooShortToTell(NotMeasurable):
    """Nothing moves, but no field lasts long enough to show whether the mount runs free; so long each should."""

    needed_s: float


GuidingRefusal = Guided | MaybeGuided | TooShortToTell
DriftRefusal = NoFramesYet | AllLeftOut | TooFewFrames | TooShort | NotTracking | SkyImpossible | RecordedRefusal
ShiftRefusal = TooFewClean | TooFewAgree | NoCommonShift


class Unknown(Enum):
    """What the fields watched so far do not tell."""

    AZIMUTH = "azimuth"
    ALTITUDE = "altitude"
    ONE_DIRECTION = "one direction"


@dataclass(frozen=True)
class Jumped:
    """The declination jumped by so much, so long after the first frame."""

    size_rad: float
    at_s: float


@dataclass(frozen=True)
class Wanders:
    """The declination wanders slowly."""


@dataclass(frozen=True)
class PartsDisagree:
    """Parts of the watch tell axes that differ by so much more than the frames scatter: the sigma has grown."""

    apart_rad: float


@dataclass(frozen=True)
class OddRate:
    """The drive does not run at the sidereal rate."""


@dataclass(frozen=True)
class Held:
    """Nothing moves, not even in right ascension: something guides."""


@dataclass(frozen=True)
class MayBeHeld:
    """The declination stands still, and guiding in declination alone would look the same: the sigma allows for it.
    Without a guider each component would be known to so much."""

    free_rad: float


DriftDoubt = Jumped | Wanders | PartsDisagree | OddRate | Held | MayBeHeld | RecordedDoubt
