"""Watches the frame folder in a thread of its own: native events wake it, polling makes sure."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from polewright.services.folder_events import (
    FolderBack,
    FolderEvent,
    FolderReady,
    FolderSurveyed,
    FrameArrived,
    WatchFault,
)
from polewright.services.folder_poller import FolderPoller, WatchSettings
from polewright.services.native_wakeup import NativeWakeup
from polewright.services.ports import Clock

QUIET_S, SURVEY_EVERY_S = 5.0, 5.0  # nothing has come for so long: look what lies there (chosen: a glance's patience)
POLLING_SHARE = 0.05  # of the time at most; a slow or huge folder is polled less often
LONGEST_PAUSE_S = 60.0  # chosen: a computer that slept within a look is no slow folder


class FolderWatcher:
    """`emit` is called in the watcher's thread, one event at a time, oldest frame first.

    A folder on a stalled share holds up this thread alone; `stalled_s` says for how long.
    """

    def __init__(
        self,
        folder: Path,
        emit: Callable[[FolderEvent], None],
        clock: Clock,
        settings: WatchSettings | None = None,
        native: bool = True,
    ) -> None:
        self._settings = settings or WatchSettings()
        self._emit = emit
        self._clock = clock
        self._folder = folder
        self._poller = FolderPoller(folder, self._settings)
        self._native = NativeWakeup(folder, self._hint) if native else None
        self._hints: dict[str, bool] = {}
        self._hints_lock = threading.Lock()
        self._wake = threading.Event()
        self._stopping = False
        self._look_began_s: float | None = None
        self._quiet_since_s = clock.monotonic_s()
        self._next_survey_s = 0.0
        self._thread = threading.Thread(target=self._run, name="folder-watch", daemon=True)

    def start(self) -> None:
        """Take stock of the folder and begin to report, in the background."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """Stop reporting; False when the thread is still held up by a stalled share (it ends with the program)."""
        self._stopping = True
        self._wake.set()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def stalled_s(self) -> float:
        """How long the present look at the folder has been taking; 0 between looks."""
        began = self._look_began_s
        return 0.0 if began is None else self._clock.monotonic_s() - began

    def _hint(self, path: str, closed: bool) -> None:
        with self._hints_lock:
            self._hints[path] = self._hints.get(path, False) or closed
        self._wake.set()

    def _take_hints(self) -> dict[str, bool]:
        with self._hints_lock:
            hints, self._hints = self._hints, {}
        return hints

    def _run(self) -> None:
        listening = self._native is not None and self._native.start()
        next_poll_s = self._clock.monotonic_s()
        while not self._stopping:
            self._wake.clear()
            hints, now_s = self._take_hints(), self._clock.monotonic_s()
            self._look_began_s = now_s
            due = now_s >= next_poll_s
            events = self._look(hints, now_s, due)
            if due:
                took_s = self._clock.monotonic_s() - now_s
                next_poll_s = now_s + took_s + pause_s(took_s, self._settings.poll_interval_s)
                listening = self._listen_again(events, listening)
                if self._native is not None and listening:
                    self._native.listen_below(self._poller.followed)
                events += self._survey(events, now_s)
            self._look_began_s = None
            for event in events:
                self._emit(event)
            self._wake.wait(self._wait_s(next_poll_s))
        if self._native is not None:
            self._native.stop()

    def _look(self, hints: dict[str, bool], now_s: float, poll: bool) -> list[FolderEvent]:
        """One look; a fault in it is an event, and the watch goes on."""
        events: list[FolderEvent] = []
        try:
            if poll:
                events += self._poller.poll(now_s)
            events += self._poller.look_at(hints, now_s)
        except Exception as error:
            events.append(WatchFault(self._folder, error))
        return events

    def _survey(self, events: list[FolderEvent], now_s: float) -> list[FolderEvent]:
        """What lies here, once in a while, as long as nothing comes."""
        if any(isinstance(event, FrameArrived) for event in events):
            self._quiet_since_s = now_s
        if now_s - self._quiet_since_s < QUIET_S or now_s < self._next_survey_s:
            return []
        self._next_survey_s = now_s + SURVEY_EVERY_S
        try:
            return [FolderSurveyed(self._poller.survey())]
        except Exception as error:
            return [WatchFault(self._folder, error)]

    def _wait_s(self, next_poll_s: float) -> float:
        """Until the next poll, or the moment a pending file may be ready."""
        next_look_s = self._poller.next_look_s()
        next_s = next_poll_s if next_look_s is None else min(next_poll_s, next_look_s)
        return max(0.001, next_s - self._clock.monotonic_s())

    def _listen_again(self, events: list[FolderEvent], listening: bool) -> bool:
        """Native watches die with their folder: renew them when it is back."""
        if self._native is None or not any(isinstance(event, (FolderBack, FolderReady)) for event in events):
            return listening
        if listening and not any(isinstance(event, FolderBack) for event in events):
            return listening
        self._native.stop()
        return self._native.start()


def pause_s(took_s: float, interval_s: float) -> float:
    """How long to wait, s, after a look that took `took_s`; `interval_s` from look to look where looks are short."""
    return max(interval_s - took_s, min(took_s / POLLING_SHARE - took_s, LONGEST_PAUSE_S), 0.0)
