"""What a running night tells the window: frozen, made in the night's thread, shown in the window's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from polewright.core.model import PlateSolution
from polewright.core.night.advice import Advice
from polewright.core.night.effects import Refused
from polewright.core.night.orientation.clock import FrameArrival
from polewright.core.night.states import NightState
from polewright.runtime.engine import NightEngine
from polewright.runtime.notices import Notice
from polewright.services.folder_survey import FolderSurvey
from polewright.services.measuring import MeasuredFrame, Optics, arrival_of, stated_scale_arcsec_px
from polewright.services.ports import Clock
from polewright.ui.presenting.extras import FrameNews, ScaleFacts
from polewright.ui.presenting.picture import picture_of


@dataclass(frozen=True, eq=False)
class Snapshot:
    """`refused` belongs to the person's last click, None when that was taken. `survey`: what lies in the folder
    while nothing arrives."""

    state: NightState
    advice: Advice
    notices: tuple[Notice, ...]
    now_s: float
    refused: Refused | None = None
    frame: FrameNews | None = None
    survey: FolderSurvey | None = None


class SnapshotMaker:
    """Watches an engine in the engine's own thread; `take` after every change, `with_picture` after that."""

    def __init__(self, engine: NightEngine, clock: Clock, optics: Optics) -> None:
        self._engine = engine
        self._clock = clock
        self._optics = optics
        self._measured: MeasuredFrame | None = None
        self._news: FrameNews | None = None
        self._scale: ScaleFacts | None = None  # of the last frame that told it
        self.refused: Refused | None = None
        self.survey: Callable[[], FolderSurvey | None] = lambda: None

    def use_optics(self, optics: Optics) -> None:
        """For the next frame: what is stated about the camera."""
        self._optics, self._scale = optics, None

    def take(self) -> Snapshot:
        """The night as it is now."""
        engine = self._engine
        measured = engine.last_measured
        if measured is not None and measured is not self._measured:
            self._measured = measured
            self._scale = scale_facts(measured, self._optics) or self._scale
            number = 1 if self._news is None else self._news.number + 1
            self._news = FrameNews(
                number,
                engine.now_s(),
                arrival=self._arrival(measured),
                scale=self._scale,
                dated_by_file=measured.frame.dated_by_file,
            )
        survey = self.survey()
        return Snapshot(engine.state, engine.advice, engine.notices, engine.now_s(), self.refused, self._news, survey)

    def with_picture(self) -> Snapshot | None:
        """The same with the picture of the latest frame; None when that was made already."""
        if self._news is None or self._news.picture is not None or self._measured is None:
            return None
        self._news = replace(self._news, picture=picture_of(self._measured))
        return self.take()

    def _arrival(self, measured: MeasuredFrame) -> FrameArrival | None:
        stated = measured.frame.stated_utc
        if stated is None:
            return None
        spent_s = sum(measured.seconds.values())
        return arrival_of(measured.frame, stated, self._clock.utc().plus_seconds(-spent_s))


def scale_facts(measured: MeasuredFrame, optics: Optics) -> ScaleFacts | None:
    """Plate scale as solved, beside what was stated."""
    if not isinstance(measured.outcome, PlateSolution):
        return None
    header = measured.frame.pixel_size_um
    pixel = optics.pixel_size_um or (None if header is None else header.value)
    return ScaleFacts(measured.outcome.scale_arcsec_px, stated_scale_arcsec_px(measured.frame, optics), pixel)
