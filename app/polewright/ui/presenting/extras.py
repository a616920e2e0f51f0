"""What the window shows beside the night's own state: the frame's picture, notices, the history, practice screws."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.core.night.effects import Refused
from polewright.core.night.orientation.clock import FrameArrival
from polewright.core.not_measurable import NotMeasurable
from polewright.runtime.notices import Notice
from polewright.services.magnetic import MagneticDeclination
from polewright.services.report.earlier import EarlierNights
from polewright.ui.view_model import FramePicture, Rehearsal, Replay, Timeline, Work

USUAL_INTERVAL_S = 4.0


@dataclass(frozen=True)
class ScaleFacts:
    """Plate scale as solved and as stated, arcsec per pixel; pixel size in um. None: not known."""

    solved_arcsec_px: float
    stated_arcsec_px: float | None = None
    pixel_size_um: float | None = None


@dataclass(frozen=True, eq=False)
class Extras:
    """`now_s` is the night's own time, which goes on between events. `interval_s`: usual time between frames.

    `first_total_rad`: how far off the axis was found at first. `trouble_read_s`: `since_s` of the frame trouble that
    the person has put away. `read_off`: the turn that the person is about to report, None as told.
    """

    now_s: float
    title: str = ""
    picture: FramePicture | None = None
    picture_s: float = 0.0
    interval_s: float = USUAL_INTERVAL_S
    notices: tuple[Notice, ...] = ()
    refused: Refused | None = None
    trouble_read_s: float | None = None
    timeline: Timeline | None = None
    first_total_rad: float | None = None
    magnetic: MagneticDeclination | NotMeasurable | None = None
    arrivals: tuple[FrameArrival, ...] = ()
    scale: ScaleFacts | None = None
    work: Work | None = None
    rehearsal: Rehearsal | None = None
    replay: Replay | None = None
    earlier: EarlierNights | None = None
    read_off: float | None = None

    @property
    def stale_after_s(self) -> float:
        """A reading older than this is shown as stale: twice the usual interval."""
        return max(2.0 * self.interval_s, 5.0)
