"""What the coach says: one instruction, why, what it will gain, and the same for a machine."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from polewright.core.screws.angles import Screw


class Mood(Enum):
    """What kind of sentence it is."""

    DO = "do"  # something to do with the hands, now
    WAIT = "wait"  # hands off: something settles or is being measured
    GOOD = "good"  # reached
    TROUBLE = "trouble"  # something is in the way; the sentence names the cure


@dataclass(frozen=True)
class Turn:
    """Turn a screw by `turns`, clockwise positive as seen by the hand."""

    screw: Screw
    turns: float


@dataclass(frozen=True)
class RotateAxis:
    """Rotate the RA axis; west is positive (the hour angle grows), in both hemispheres. Degrees."""

    west_deg: float


@dataclass(frozen=True)
class Point:
    """Point the telescope, tracking on: hour angle in hours, west positive, and declination in degrees."""

    hour_angle_h: float
    declination_deg: float


@dataclass(frozen=True)
class Wait:
    """Hands off for so long; None: until the next frame. `of_s`: how long the whole wait is; None: settling."""

    seconds: float | None = None
    of_s: float | None = None


@dataclass(frozen=True)
class SetUp:
    """Stand the mount up: true bearing of the upper end of the axis, and its inclination, degrees. Then Next."""

    bearing_deg: float
    inclination_deg: float


@dataclass(frozen=True)
class Lock:
    """Tighten the locks of the base."""


@dataclass(frozen=True)
class Unlock:
    """Loosen the locks of the base."""


@dataclass(frozen=True)
class Expose:
    """Change the exposure by this factor."""

    factor: float


@dataclass(frozen=True)
class Refocus:
    """Look after the focus."""


@dataclass(frozen=True)
class TightenClutch:
    """Tighten the declination clutch, then restart the stage."""


@dataclass(frozen=True)
class GoOn:
    """Say that this stage is done."""


@dataclass(frozen=True)
class StartAgain:
    """Restart the stage."""


@dataclass(frozen=True)
class GoBack:
    """Go back one stage."""


@dataclass(frozen=True)
class Resume:
    """Say that it goes on."""


@dataclass(frozen=True)
class RestoreFolder:
    """Bring the frame folder back."""


@dataclass(frozen=True)
class EnterSite:
    """Say where the mount stands."""


@dataclass(frozen=True)
class MeasureAgain:
    """The mount was moved during the imaging run: say that it was bumped, and measure the axis anew."""


@dataclass(frozen=True)
class Done:
    """Nothing more to do. `proved`: by a second turn of the RA axis, or by drift."""

    proved: bool


Action = (
    Turn
    | RotateAxis
    | Point
    | Wait
    | SetUp
    | Lock
    | Unlock
    | Expose
    | Refocus
    | TightenClutch
    | GoOn
    | StartAgain
    | GoBack
    | Resume
    | RestoreFolder
    | EnterSite
    | MeasureAgain
    | Done
)


@dataclass(frozen=True)
class Advice:
    """One instruction (at most eight words), the reason, the expected gain, and the action behind it.

    `key` stays the same as long as the same thing is asked for: whoever follows the advice acts once per key.
    """

    instruction: str
    reason: str
    expected_gain: str
    action: Action
    mood: Mood
    key: str
