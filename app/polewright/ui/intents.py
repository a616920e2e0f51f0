"""What the person wants, as frozen values. The window emits them; whoever runs the night acts on them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ScrewName = Literal["azimuth", "altitude"]


@dataclass(frozen=True)
class Intent:
    """Base of all intents."""


@dataclass(frozen=True)
class UserTurned(Intent):
    """The person reports a turn, positive clockwise as the hand sees it, read off the screw head; None: as told."""

    screw: ScrewName
    turns: float | None


@dataclass(frozen=True)
class ReadOff(Intent):
    """Correct the turn that will be reported: so many steps more (+) or less (-), or the other way round."""

    steps: int = 0
    other_way: bool = False


@dataclass(frozen=True)
class LearnScrew(Intent):
    """A lesson on this screw, or enough of it."""

    screw: ScrewName


@dataclass(frozen=True)
class Next(Intent):
    """Done with this stage, or with what the instruction asks."""


@dataclass(frozen=True)
class Back(Intent):
    """To the stage before."""


@dataclass(frozen=True)
class Undo(Intent):
    """Take the last click back."""


@dataclass(frozen=True)
class Pause(Intent):
    """Stop or resume taking frames in (clouds)."""


@dataclass(frozen=True)
class Bumped(Intent):
    """The tripod was kicked: measure the axis anew."""


@dataclass(frozen=True)
class Restart(Intent):
    """Begin this stage again."""


@dataclass(frozen=True)
class Lock(Intent):
    """The base is locked: check that it stayed where it was."""


@dataclass(frozen=True)
class Unlock(Intent):
    """The base is loose again."""


@dataclass(frozen=True)
class WatchDrift(Intent):
    """Let the stars drift instead of turning the RA axis; or, while they do: the other side, the tripod has stood."""

    other_side: bool = False
    stood: bool = False


@dataclass(frozen=True)
class DoAsTold(Intent):
    """In a rehearsal: let the simulated hands do what the instruction asks."""


@dataclass(frozen=True)
class Finish(Intent):
    """Good enough: stop here and prove it."""


@dataclass(frozen=True)
class SayGuiding(Intent):
    """Something guides or dithers the mount during the imaging run, or nothing does."""

    on: bool


@dataclass(frozen=True)
class PutShiftAway(Intent):
    """The person has read of the shift and images on."""


@dataclass(frozen=True)
class ChooseFolder(Intent):
    """Watch this folder; None: ask the person first."""

    folder: Path | None = None


@dataclass(frozen=True)
class FillForm(Intent):
    """The first page as the person filled it in: raw text, checked by whoever receives it."""

    latitude: str
    longitude: str
    elevation: str
    focal_length: str
    pixel_size: str
    folder: str


@dataclass(frozen=True)
class UseSite(Intent):
    """Fill the form from a site that is already known, by name."""

    name: str


@dataclass(frozen=True)
class UseRig(Intent):
    """Fill the form from a rig that is already known, by name."""

    name: str


@dataclass(frozen=True)
class StartNight(Intent):
    """Leave the first page and begin."""


@dataclass(frozen=True)
class StartRehearsal(Intent):
    """Practise on a simulated mount."""

    scenario: str = ""
    seed: int | None = None


@dataclass(frozen=True)
class OpenReplay(Intent):
    """Play a recorded night; None: ask the person first."""

    recording: Path | None = None


@dataclass(frozen=True)
class PlayPause(Intent):
    """Start or stop the replay."""


@dataclass(frozen=True)
class SetSpeed(Intent):
    """Replay speed, 1 to 100 times."""

    times: float


@dataclass(frozen=True)
class Scrub(Intent):
    """Go to this second of the replay."""

    position_s: float


@dataclass(frozen=True)
class StepEvent(Intent):
    """One event on (+1) or back (-1) in the replay."""

    count: int


@dataclass(frozen=True)
class TakeOver(Intent):
    """Answer the recorded night's moves oneself, or stop doing so."""


@dataclass(frozen=True)
class TurnRehearsalScrew(Intent):
    """Turn a screw of the simulated mount by so many turns, clockwise positive."""

    screw: ScrewName
    turns: float


@dataclass(frozen=True)
class RotateRehearsalAxis(Intent):
    """Rotate the RA axis of the simulated mount, degrees, + as the sky turns."""

    degrees: float


@dataclass(frozen=True)
class CancelWork(Intent):
    """Stop the long work in progress."""


@dataclass(frozen=True)
class DismissTrouble(Intent):
    """The person has read it."""


@dataclass(frozen=True)
class ExportNight(Intent):
    """Write the night's record beside the recording."""


@dataclass(frozen=True)
class ChangeTarget(Intent):
    """Next kind of target pole: true, between, refracted; or the one named."""

    pole: str = ""


@dataclass(frozen=True)
class ChangeTolerance(Intent):
    """What tonight needs: one step stricter (-1) or easier (+1)."""

    steps: int


@dataclass(frozen=True)
class ShowPlan(Intent):
    """The page of tonight's plan."""


@dataclass(frozen=True)
class FillPlan(Intent):
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
class AdoptPlan(Intent):
    """Let the plan on the page set tonight's tolerance."""


@dataclass(frozen=True)
class LeaveNight(Intent):
    """Back to the first page; the night stays resumable."""


# What the window settles by itself:


@dataclass(frozen=True)
class ToggleRedLight(Intent):
    """Day light or red light."""


@dataclass(frozen=True)
class ChangeBrightness(Intent):
    """Brighter (+1) or dimmer (-1) by one step."""

    steps: int


@dataclass(frozen=True)
class ToggleReading(Intent):
    """Only the well and the instruction, for two metres."""


@dataclass(frozen=True)
class ToggleFullScreen(Intent):
    """Full screen and back."""


@dataclass(frozen=True)
class ToggleSound(Intent):
    """The sound guide on or off."""


@dataclass(frozen=True)
class ToggleSpeech(Intent):
    """Spoken instructions on or off."""


@dataclass(frozen=True)
class ShowKeys(Intent):
    """The page of keys."""


@dataclass(frozen=True)
class Quit(Intent):
    """Close the window; the night resumes next time."""
