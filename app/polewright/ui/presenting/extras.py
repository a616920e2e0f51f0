"""What the window shows beside the night's own state: the latest frame, notices, the history, practice screws."""

from __future__ import annotations

from dataclasses import dataclass, field

from polewright.core.night.effects import Refused
from polewright.core.night.orientation.clock import FrameArrival
from polewright.core.not_measurable import NotMeasurable
from polewright.runtime.notices import Notice
from polewright.services.magnetic import MagneticDeclination
from polewright.services.report.earlier import EarlierNights
from polewright.ui.presenting.history import NightHistory
from polewright.ui.view_model import FramePicture, Rehearsal, Replay, Work

USUAL_INTERVAL_S = 4.0


@dataclass(frozen=True)
class ScaleFacts:
    """Plate scale as solved and as stated, arcsec per pixel; pixel size in um. None: not known."""

    solved_arcsec_px: float
    stated_arcsec_px: float | None = None
    pixel_size_um: float | None = None


@dataclass(frozen=True, eq=False)
class FrameNews:
    """The latest frame: when it came (the night's time), its picture once that is made, what it tells on the side.
    `dated_by_file`: it states no time of its own."""

    number: int
    at_s: float
    picture: FramePicture | None = None
    arrival: FrameArrival | None = None
    scale: ScaleFacts | None = None
    dated_by_file: bool = False


@dataclass(frozen=True, eq=False)
class Extras:
    """`now_s` is the night's own time, which goes on between events. `interval_s`: usual time between frames.

    `by_day`: the Sun is above the horizon of the site.
    `position_s`: where a replay stands. `trouble_read_s`: `since_s` of the frame trouble that
    the person has put away; `lost_read`: that the folder is gone was put away. `read_off`: the turn that the person
    is about to report, None as told.
    """

    now_s: float
    title: str = ""
    news: FrameNews | None = None
    interval_s: float = USUAL_INTERVAL_S
    notices: tuple[Notice, ...] = ()
    refused: Refused | None = None
    trouble_read_s: float | None = None
    lost_read: bool = False
    history: NightHistory = field(default_factory=NightHistory)
    position_s: float | None = None
    magnetic: MagneticDeclination | NotMeasurable | None = None
    arrivals: tuple[FrameArrival, ...] = ()
    work: Work | None = None
    rehearsal: Rehearsal | None = None
    replay: Replay | None = None
    earlier: EarlierNights | None = None
    read_off: float | None = None
    by_day: bool = False

    @property
    def stale_after_s(self) -> float:
        """A reading older than this is shown as stale: twice the usual interval."""
        return max(2.0 * self.interval_s, 5.0)
