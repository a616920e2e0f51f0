"""What Qt finds on this computer: screens, sound, a voice. Run in a process of its own, since Qt may abort."""

from __future__ import annotations

from typing import Any


def what_qt_finds() -> dict[str, Any]:
    """Plain facts; makes an application if there is none, which needs a screen (see ui/screen.py)."""
    from PySide6.QtCore import qVersion
    from PySide6.QtGui import QGuiApplication

    application = QGuiApplication.instance() or QGuiApplication(["polewright"])
    screens = [
        {
            "width_px": screen.size().width(),
            "height_px": screen.size().height(),
            "scale": screen.devicePixelRatio(),
            "dots_per_inch": round(screen.physicalDotsPerInch(), 1),
            "hertz": round(screen.refreshRate(), 1),
        }
        for screen in QGuiApplication.screens()
    ]
    facts = {"qt": qVersion(), "desktop": QGuiApplication.platformName(), "screens": screens, **_audible()}
    del application
    return facts


def _audible() -> dict[str, Any]:
    from PySide6.QtMultimedia import QMediaDevices
    from PySide6.QtTextToSpeech import QTextToSpeech

    return {
        "sound_outputs": len(QMediaDevices.audioOutputs()),
        "voices": [engine for engine in QTextToSpeech.availableEngines() if engine != "mock"],
    }
