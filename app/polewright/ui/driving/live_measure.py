"""Measuring for a night: services are loaded with the first frame, in the worker; long preparation can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Qt, Signal, Slot

from polewright.core.errors import PolewrightError
from polewright.core.matching.work import IndexMade, SolverWork
from polewright.runtime.engine import Measure
from polewright.services.measuring import MeasuredFrame, Optics
from polewright.ui.driving.means import MakeMeasure
from polewright.ui.view_model import Work
from polewright.words.work import work_words


class StoppedPreparingError(PolewrightError):
    """The person has stopped the preparation."""


class LiveMeasure(QObject):
    """Callable as engine.Measure in the worker's thread; tells its progress in the thread that made it."""

    _progress = Signal(object)

    def __init__(
        self,
        make: MakeMeasure,
        optics: Optics,
        tell: Callable[[Work | None], None],
        give_up_frame: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__(None)
        self._make = make
        self._optics = optics
        self._tell = tell
        self._give_up_frame = give_up_frame
        self._measure: Measure | None = None
        self._telling = False
        self._stop = threading.Event()
        self._anew = threading.Event()
        self._stated = Optics()  # once it begins anew
        self._ended = False
        self._progress.connect(self._on_progress, Qt.ConnectionType.AutoConnection)

    def __call__(self, path: Path) -> MeasuredFrame:
        self._stop.clear()
        if self._anew.is_set():
            self._anew.clear()
            self._optics, self._measure = self._stated, None
        if self._measure is None:
            self._measure = self._make(self._optics, self._on_work)
        try:
            return self._measure(path)
        finally:
            if self._telling:
                self._telling = False
                self._progress.emit(None)

    def stop(self) -> None:
        """Give up the preparation that runs; the next frame begins it again."""
        self._stop.set()

    def other_camera(self) -> None:
        """The next frames may come from another camera: believe their headers, and learn it anew."""
        self.begin_anew(Optics())

    def begin_anew(self, stated: Optics) -> None:
        """With the next frame: forget what was learned of the camera, and believe this."""
        self._stated = stated
        self._anew.set()

    def end(self) -> None:
        """Give up for good: the night is over."""
        self._ended = True
        self._give_up_frame()

    def _on_work(self, what: SolverWork, fraction: float) -> None:
        if self._stop.is_set() or self._ended:
            self._stop.clear()
            raise StoppedPreparingError("The preparation was stopped; the next frame begins it again.")
        if not isinstance(what, IndexMade):
            return  # other work is too short to be told
        self._telling = True
        self._progress.emit(Work(work_words(what)[0], fraction))

    @Slot(object)
    def _on_progress(self, work: Work | None) -> None:
        if not self._ended:
            self._tell(work)
