"""The window with its worker: it stays awake while work goes on elsewhere, and leaves nothing behind."""

from __future__ import annotations

import gc
import threading
import weakref
from pathlib import Path

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, QObject
from pytestqt.qtbot import QtBot

from polewright.core.model import Utc
from polewright.core.screws.angles import Screw
from polewright.runtime.worker import Worker
from polewright.services.clock import VirtualClock
from polewright.ui.main_window import MainWindow
from polewright.ui.sound import SoundGuide
from polewright.ui.sound_plan import DONE, SLOWEST_S, Phrase, guide_phrase
from polewright.ui.view_model import Sense
from polewright.ui.wakefulness import (
    FreedesktopWakefulness,
    MacWakefulness,
    NoWakefulness,
    WindowsWakefulness,
    wakefulness_here,
)
from polewright.ui.words import kept_together
from screens.demo_views import PAGES


def test_a_slow_folder_does_not_hold_up_the_window(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the listing waits, the window still answers; leaving the page is possible at once."""
    gate = threading.Event()
    worker = Worker()
    window = MainWindow(worker=worker)
    qtbot.addWidget(window)
    window.show_view(PAGES["first-run"]())
    window.folders.worker.ask("folder", lambda: gate.wait(10), lambda done: None)
    window.folders.ask("Which folder does the camera write to?", Path.home())
    assert window.folders.note == "Looking …"
    window._on_page_left()
    gate.set()
    worker.stop()


def test_a_closed_window_is_freed(qtbot: QtBot) -> None:
    window = MainWindow()
    window.show()
    window.show_view(PAGES["fine"]())
    gone = weakref.ref(window)
    window.close()
    window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    del window
    gc.collect()
    assert gone() is None


@pytest.mark.parametrize(
    ("platform", "kind"),
    [
        ("linux", FreedesktopWakefulness),
        ("win32", WindowsWakefulness),
        ("darwin", MacWakefulness),
        ("freebsd13", NoWakefulness),
    ],
)
def test_each_platform_has_its_way_to_stay_awake(platform: str, kind: type) -> None:
    assert isinstance(wakefulness_here(platform), kind)


def test_staying_awake_is_harmless_without_a_session_bus(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nonexistent")
    awake = FreedesktopWakefulness()
    awake.hold("a night is running")
    awake.release()


def test_numbers_stay_with_their_units() -> None:
    assert kept_together("Measuring, 8 s.") == "Measuring, 8\u00a0s."
    assert kept_together("3 1/4 turns clockwise") == "3\u00a01/4\u00a0turns clockwise"
    assert kept_together("2 stars of 5") == "2 stars of 5"


@pytest.mark.qt_log_level_fail("CRITICAL")  # a machine without sound has a lot to say about it
def test_sound_is_silent_and_harmless_without_a_device(qtbot: QtBot) -> None:
    """Phrases are repeated by the scheduler, change without losing the beat, and stop at once."""
    clock = VirtualClock(Utc(2461000.5, 0.0))
    owner = QObject()
    guide = SoundGuide(clock, owner)
    sounded: list[Phrase] = []
    guide._sound = sounded.append  # type: ignore[assignment,method-assign]
    far = guide_phrase(Screw.AZIMUTH, 4.0, Sense.CLOCKWISE)
    near = guide_phrase(Screw.AZIMUTH, 0.5, Sense.CLOCKWISE)
    guide.play(far)
    clock.advance(SLOWEST_S * 2.5)
    assert sounded == [far] * 3
    guide.play(near)
    clock.advance(SLOWEST_S)
    assert sounded[3] == near
    guide.hush()
    count = len(sounded)
    clock.advance(60.0)
    assert len(sounded) == count
    assert clock.next_due_s() is None
    guide.play(DONE)
    clock.advance(60.0)
    assert sounded[count:] == [DONE]
    real = SoundGuide(clock, owner)
    real.play(DONE)
    real.hush()
