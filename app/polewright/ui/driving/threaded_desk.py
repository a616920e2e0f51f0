"""A night in a thread of its own, so that neither estimating nor the disk ever holds up the window."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QObject, Qt, QThread, Signal, Slot

from polewright.core.night.events import AnyEvent
from polewright.runtime.engine import NightEngine
from polewright.runtime.qt_night import QtNight
from polewright.services.measuring import Optics
from polewright.ui.driving.desk import NightOrder, Tell, click_on, unwritten
from polewright.ui.driving.snapshot import SnapshotMaker

Task = Callable[["_Inside"], None]


class _Inside(QObject):
    """Lives in the night's thread; does what it is sent, in order."""

    told = Signal(object)
    ended = Signal(object)

    def __init__(self, order: NightOrder) -> None:
        super().__init__(None)
        self._order = order
        self.night: QtNight | None = None
        self.maker: SnapshotMaker | None = None

    @Slot(object)
    def do(self, task: Task) -> None:
        """One task."""
        task(self)

    def begin(self) -> None:
        """Build the night here, where its timers and its worker belong."""
        order = self._order
        night = QtNight(order.night_folder, order.measure, order.clock, order.outlets, order.keep_frame, self)
        self.night, self.maker = night, SnapshotMaker(night.engine, order.clock, order.optics)
        self.maker.survey = lambda: night.survey
        night.changed.connect(self.tell)
        self.tell()

    @Slot()
    def tell(self) -> None:
        """The news first, the picture of the frame after it."""
        if self.maker is None:
            return
        self.told.emit(self.maker.take())
        pictured = self.maker.with_picture()
        if pictured is not None:
            self.told.emit(pictured)

    def end(self) -> None:
        """Stop everything; the night's own objects go with this one."""
        left = [] if self.night is None else self.night.stop()
        self.maker = None
        self.ended.emit(left)
        self.thread().quit()


class ThreadedDesk(QObject):
    """Satisfies Desk. `tell` is called in the thread that made this object."""

    _sent = Signal(object)

    def __init__(self, order: NightOrder, tell: Tell) -> None:
        super().__init__(None)
        self._tell = tell
        self._left: list[str] = []
        self._thread = QThread()
        self._thread.setObjectName("polewright-night")
        self._inside = _Inside(order)
        self._inside.moveToThread(self._thread)
        self._sent.connect(self._inside.do, Qt.ConnectionType.QueuedConnection)
        self._inside.told.connect(self._on_told, Qt.ConnectionType.QueuedConnection)
        self._inside.ended.connect(self._on_ended, Qt.ConnectionType.DirectConnection)
        self._thread.finished.connect(self._inside.deleteLater)
        self._thread.start()
        self._sent.emit(_Inside.begin)

    def click(self, event: AnyEvent) -> None:
        self._with_night(lambda night, maker: click_on(night.engine, maker, event))

    def ask(self, action: Callable[[NightEngine], None]) -> None:
        self._with_night(lambda night, _: action(night.engine))

    def watch(self, folder: Path) -> None:
        self._with_night(lambda night, _: night.watch(folder))

    def use_optics(self, optics: Optics) -> None:
        self._with_night(lambda _, maker: maker.use_optics(optics))

    def _with_night(self, action: Callable[[QtNight, SnapshotMaker], object]) -> None:
        """In the night's thread, unless it has ended; what came of it is told."""

        def task(inside: _Inside) -> None:
            if inside.night is not None and inside.maker is not None:
                action(inside.night, inside.maker)
                inside.tell()

        self._sent.emit(task)

    @property
    def unwritten(self) -> str:
        night = self._inside.night
        return "" if night is None else unwritten(night.recorder)

    def stop(self) -> list[str]:
        """Waits until the running measurement has ended."""
        self._tell = _say_nothing
        self._sent.emit(_Inside.end)
        self._thread.wait()
        return self._left

    @Slot(object)
    def _on_told(self, snapshot: object) -> None:
        self._tell(snapshot)  # type: ignore[arg-type]

    def _on_ended(self, left: list[str]) -> None:
        self._left = left


def _say_nothing(snapshot: object) -> None:
    """After the end nobody listens."""
