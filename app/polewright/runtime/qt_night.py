"""The night on Qt's event loop: watcher and worker in threads of their own, the engine with its owner."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Qt, Signal, Slot

from polewright.core.night.events import FolderBack, FolderLost
from polewright.runtime.engine import Measure, NightEngine, Outlets
from polewright.runtime.jobs import Jobs
from polewright.runtime.qt_scheduler import QtScheduler
from polewright.runtime.worker import Worker
from polewright.services import folder_events
from polewright.services.folder_poller import WatchSettings
from polewright.services.folder_survey import FolderSurvey
from polewright.services.folder_watch import FolderWatcher
from polewright.services.ports import Clock
from polewright.services.recorder import NightRecorder
from polewright.words.notices import WATCHER_HANGS

TICK_S = 1.0


class QtNight(QObject):
    """Attributes: `engine`, `recorder`, `survey`. Signals: `changed`, after every change of the state.

    Call `stop` before letting go of it.
    """

    changed = Signal()
    _reported = Signal(object)  # from the watcher's thread to the owner's

    def __init__(
        self,
        night_folder: Path,
        measure: Measure,
        clock: Clock,
        outlets: Outlets | None = None,
        keep_frame: Callable[[Path], str] = str,
        parent: QObject | None = None,
    ) -> None:
        """Takes up the night in `night_folder` where it ended, or begins a new one there."""
        super().__init__(parent)
        self._worker = Worker(self)
        self._scheduler = QtScheduler(self)
        self._clock = clock
        self._watcher: FolderWatcher | None = None
        self._stopped = False
        self.survey: FolderSurvey | None = None  # what lies in the folder while nothing arrives
        self.recorder = NightRecorder(night_folder, clock, self._on_recording_trouble)
        jobs = Jobs(self._worker)
        self.engine = NightEngine(measure, jobs, self.recorder, clock, outlets, keep_frame)
        if self.recorder.trouble is not None:
            self.engine.recording_trouble(self.recorder.trouble)
        self.engine.listen(lambda _: self.changed.emit())
        self._reported.connect(self._on_report, Qt.ConnectionType.QueuedConnection)
        if self.recorder.resumed is not None:
            self.engine.resume(self.recorder.resumed, self.recorder.checkpoint)
        self._scheduler.after(TICK_S, self._tick)

    def watch(self, folder: Path, settings: WatchSettings | None = None) -> bool:
        """Take frames from this folder from now on; False when the watcher before is held up by a stalled share."""
        released = self._watcher is None or self._watcher.stop()
        self._watcher = FolderWatcher(folder, self._reported.emit, self._clock, settings)
        self._watcher.start()
        self.survey = None
        if self.engine.state.folder_lost:  # that was another folder; the new watcher tells when this one is gone
            self.engine.post(FolderBack(self.engine.now_s()))
        return released

    def stop(self) -> list[str]:
        """Stop watching, let the running measurement end, close the record; what did not end well, in sentences."""
        self._stopped = True
        left = []
        if self._watcher is not None and not self._watcher.stop():
            left.append(WATCHER_HANGS)
        self._worker.stop()
        if not self.recorder.close():
            left.append(str(self.recorder.trouble))
        return left

    @Slot(object)
    def _on_report(self, report: folder_events.FolderEvent) -> None:
        if self._stopped:
            return
        now_s = self.engine.now_s()
        if isinstance(report, folder_events.FrameArrived):
            self.survey = None
            self.engine.frame_arrived(report.path)
        elif isinstance(report, folder_events.FolderLost):
            self.engine.post(FolderLost(now_s, report.reason))
        elif isinstance(report, folder_events.FolderBack):
            self.engine.post(FolderBack(now_s))
        elif isinstance(report, folder_events.FolderSurveyed):
            self.survey = report.survey
            self.changed.emit()
        elif isinstance(report, folder_events.WatchFault):
            self.engine.fault("watching the frame folder", report.error)

    def _tick(self) -> None:
        if self._stopped:
            return
        if self._watcher is not None:
            self.engine.folder_stalled(self._watcher.stalled_s())
        self.engine.tick()
        self._scheduler.after(TICK_S, self._tick)

    def _on_recording_trouble(self, trouble: object) -> None:
        engine = getattr(self, "engine", None)  # the recorder may report while it is being made
        if engine is not None:
            engine.recording_trouble(trouble)
