"""What the window remembers about itself: plain values, kept by whoever owns the profile."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.ui.theme import Light


@dataclass(frozen=True)
class WindowSettings:
    """Light, brightness of the red light (0..1), whether the window may be heard, and
    whether turns are told in numbers where the marker could lead."""

    light: Light = Light.DAY
    brightness: float = 1.0  # where text is as legible as red can be (ui/theme.py); + and - from there
    sound: bool = False
    speech: bool = False
    told: bool = False
