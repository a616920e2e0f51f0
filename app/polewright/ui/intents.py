"""What the person wants, as frozen values. The window emits them; whoever runs the night acts on them.

What a person says to the night is one of its own events (core/night/events.py), stamped when it is posted; only what
is no event has a value of its own here. Each group below is taken in by one place, which decides about all of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from polewright.core.night import events
from polewright.core.screws.angles import Screw


@dataclass(frozen=True)
class ReadOff:
    """Correct the turn that will be reported: so many steps more (+) or less (-), or the other way round."""

    steps: int = 0
    other_way: bool = False


@dataclass(frozen=True)
class DoAsTold:
    """In a rehearsal: let the simulated hands do what the instruction asks."""


@dataclass(frozen=True)
class ChooseFolder:
    """Watch this folder; None: ask the person first."""

    folder: Path | None = None


@dataclass(frozen=True)
class FillForm:
    """The first page as the person filled it in: raw text, checked by whoever receives it."""

    latitude: str = ""
    longitude: str = ""
    elevation: str = ""
    focal_length: str = ""
    pixel_size: str = ""
    folder: str = ""
    site_name: str = ""
    rig_name: str = ""
    temperature: str = ""
    pressure: str = ""
    clock: str = ""


@dataclass(frozen=True)
class UseSite:
    """Fill the form from a site that is already known, by name."""

    name: str


@dataclass(frozen=True)
class UseRig:
    """Fill the form from a rig that is already known, by name."""

    name: str


@dataclass(frozen=True)
class StartNight:
    """Leave the first page and begin."""


@dataclass(frozen=True)
class MendSite:
    """The form over a night that goes on; `by_frames`: with the site that the frames state."""

    by_frames: bool = False


@dataclass(frozen=True)
class LeaveForm:
    """Back to the night behind the form; nothing is changed."""


@dataclass(frozen=True)
class SetClock:
    """The frames' times are ahead of UTC by so much, s: take it off from now on."""

    ahead_s: float


@dataclass(frozen=True)
class StartRehearsal:
    """Practise on a simulated mount."""

    scenario: str = ""
    seed: int | None = None


@dataclass(frozen=True)
class OpenReplay:
    """Play a recorded night; None: ask the person first. `asked`: about its turns, from the beginning."""

    recording: Path | None = None
    asked: bool = False


@dataclass(frozen=True)
class OpenNights:
    """The list of all recorded nights."""


@dataclass(frozen=True)
class ToFirstPage:
    """Leave the list of nights."""


@dataclass(frozen=True)
class ChooseNight:
    """This line of the list."""

    row: int


class OfTheList(Enum):
    """What can be done with the chosen night."""

    REPORT = "show its report in the window"
    LEAVE_REPORT = "back to the list"
    SAVE_HTML = "save the report as a page"
    SAVE_PDF = "save the report as PDF"
    OPEN_REPORT = "save the report and open it outside the window"
    EXPORT = "write its table and JSON beside the record"
    FOLDER = "show the folder outside the window"
    DELETE = "delete it; asks once"


@dataclass(frozen=True)
class PlayPause:
    """Start or stop the replay."""


@dataclass(frozen=True)
class SetSpeed:
    """Replay speed, 1 to 100 times."""

    times: float


@dataclass(frozen=True)
class Scrub:
    """Go to this second of the replay."""

    position_s: float


@dataclass(frozen=True)
class StepEvent:
    """One event on (+1) or back (-1) in the replay."""

    count: int


@dataclass(frozen=True)
class TakeOver:
    """Answer the recorded night's moves oneself, or stop doing so."""


@dataclass(frozen=True)
class TurnRehearsalScrew:
    """Turn a screw of the simulated mount by so many turns, clockwise positive."""

    screw: Screw
    turns: float


@dataclass(frozen=True)
class RotateRehearsalAxis:
    """Rotate the RA axis of the simulated mount, degrees, + as the sky turns."""

    degrees: float


@dataclass(frozen=True)
class CancelWork:
    """Stop the long work in progress."""


@dataclass(frozen=True)
class SayWhyNot:
    """A key was pressed that does nothing now."""

    why: str


@dataclass(frozen=True)
class DismissTrouble:
    """The person has read it."""


@dataclass(frozen=True)
class ExportNight:
    """Write the night's record beside the recording."""


@dataclass(frozen=True)
class ShowPlan:
    """The page of tonight's plan."""


@dataclass(frozen=True)
class FillPlan:
    """Tonight's plan as the person filled it in: raw text, checked by whoever receives it."""

    target: str = ""
    declination: str = ""
    focal_length: str = ""
    pixel_size: str = ""
    sensor: str = ""
    binning: str = ""
    exposure: str = ""
    hours: str = ""
    first_hour_angle: str = ""
    guide_offset: str = ""
    seeing: str = ""
    allowed_blur: str = ""
    guided: bool = True


@dataclass(frozen=True)
class AdoptPlan:
    """Let the plan on the page set tonight's tolerance."""


@dataclass(frozen=True)
class LeaveNight:
    """Back to the first page; the night stays resumable."""


class OfTheWindow(Enum):
    """What the window settles by itself."""

    RED_LIGHT = "daylight or red light"
    BRIGHTER = "brighter by one step"
    DIMMER = "dimmer by one step"
    READING = "only the well and the instruction, for two metres; and back"
    FULL_SCREEN = "full screen and back"
    SOUND = "the sound guide on or off"
    SPEECH = "spoken instructions on or off"
    KEYS = "the page of keys"
    REHEARSALS = "the page of rehearsals"
    WHY = "the guide, where it tells of what is on show"
    QUIT = "close the window; the night resumes next time"


Said = (
    events.NextAsked
    | events.BackAsked
    | events.RestartAsked
    | events.PauseAsked
    | events.ResumeAsked
    | events.UndoAsked
    | events.TripodBumped
    | events.ScrewTurned
    | events.LessonAsked
    | events.LeadSwitched
    | events.BaseLocked
    | events.BaseUnlocked
    | events.TargetChanged
    | events.ToleranceChanged
    | events.Accepted
    | events.GuidingSwitched
    | events.ShiftPutAway
    | events.DriftAsked
    | events.GuidingTold
    | events.DeclinationNudged
)
OfTheDriver = StartNight | MendSite | LeaveForm | StartRehearsal | OpenReplay | LeaveNight | OpenNights | ToFirstPage
OfTheNights = ChooseNight | OfTheList
OfTheForm = FillForm | UseSite | UseRig
OfTheNight = ReadOff | SetClock | ShowPlan | FillPlan | AdoptPlan | ExportNight
OfTheRehearsal = DoAsTold | TurnRehearsalScrew | RotateRehearsalAxis
OfTheReplay = PlayPause | SetSpeed | Scrub | StepEvent | TakeOver
OfAnyScene = ChooseFolder | CancelWork | DismissTrouble | SayWhyNot
Intent = (
    Said
    | OfTheWindow
    | OfTheDriver
    | OfTheNights
    | OfTheForm
    | OfTheNight
    | OfTheRehearsal
    | OfTheReplay
    | OfAnyScene
)
