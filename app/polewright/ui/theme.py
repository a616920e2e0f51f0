"""Colours and type as data: a role names what a colour is for, a palette gives it a value.

Red light: green and blue are 0 in every value, and everything is told by shape, words and brightness. Dark greys
vanish on a dimmed panel, so whatever matters is drawn in `ink` or brighter.

Decided 2026-11-25. Red light is made by palettes alone; no effect filters pixels afterwards (slow, and it would
hide mistakes). Fusion's own drawing mixes white and grey into some controls, so the few stock controls in use are
drawn by a style sheet; a line field's caret is drawn by us (Qt inverts what lies beneath: white on black); dialogs
are pages of our own; the pointer is ours; frames are shown through a table of 256 reds. Tests grab every page,
state, menu and tooltip.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from typing import Literal, get_args

Rgb = tuple[int, int, int]
Role = Literal[
    "ground", "raised", "hollow", "line", "shade", "faint", "ink", "strong", "accent", "accent_ink", "floor"
]

BRIGHTNESS_STEPS = (0.16, 0.22, 0.32, 0.45, 0.63, 0.8, 1.0)  # chosen: by a factor of 1.25 to 1.45


class Light(Enum):
    DAY = "day"
    RED = "red"


@dataclass(frozen=True)
class Palette:
    """One colour for each role.

    ground: the window. raised: panels, fields, the inside of the well. hollow: pressed or empty parts.
    line: hairlines and rings. faint: secondary text. ink: text and marks. strong: the main sentence, the marker.
    accent: what to do now, alone. accent_ink: text on accent. floor: the tolerance. shade: what is dimmed away.
    """

    ground: Rgb
    raised: Rgb
    hollow: Rgb
    line: Rgb
    shade: Rgb
    faint: Rgb
    ink: Rgb
    strong: Rgb
    accent: Rgb
    accent_ink: Rgb
    floor: Rgb


assert get_args(Role) == tuple(Palette.__dataclass_fields__), "a role is a colour of the palette"

DAY = Palette(
    ground=(0xF3, 0xF1, 0xEB),
    raised=(0xFC, 0xFB, 0xF8),
    hollow=(0xE6, 0xE3, 0xDA),
    line=(0xC9, 0xC5, 0xBA),
    shade=(0x8B, 0x88, 0x7D),
    faint=(0x5F, 0x5E, 0x58),
    ink=(0x2B, 0x2E, 0x36),
    strong=(0x12, 0x16, 0x20),
    accent=(0xB0, 0x3A, 0x14),
    accent_ink=(0xFF, 0xFF, 0xFF),
    floor=(0xD9, 0xE2, 0xDF),
)

# Text at full brightness has to reach 4.5:1 on ground and raised (WCAG 2.2, 1.4.3): red from 0xEC up, and a
# little more, since thin strokes are smoothed away into the ground (tests/screens/test_contrast.py). Marks that
# only frame something reach 3:1 (1.4.11): 0xBA. More than 5.25:1 is not to be had from red alone: its relative
# luminance is 0.2126, and (0.2126 + 0.05) / 0.05 = 5.25. Headline and numbers take all of it, and are told apart from
# the rest by size and weight.
RED = Palette(
    ground=(0x00, 0, 0),
    raised=(0x0A, 0, 0),
    hollow=(0x18, 0, 0),
    line=(0x5C, 0, 0),
    shade=(0xBA, 0, 0),
    faint=(0xF9, 0, 0),
    ink=(0xFC, 0, 0),
    strong=(0xFF, 0, 0),
    accent=(0xFF, 0, 0),
    accent_ink=(0x00, 0, 0),
    floor=(0x30, 0, 0),
)


@dataclass(frozen=True)
class Theme:
    """A light and its palette, with the brightness already worked in."""

    light: Light
    palette: Palette
    brightness: float = 1.0

    @property
    def red(self) -> bool:
        return self.light is Light.RED


def make_theme(light: Light, brightness: float = 1.0) -> Theme:
    """The theme of that light; brightness 0..1 dims the red palette and leaves the day palette alone."""
    if light is Light.DAY:
        return Theme(light, DAY, 1.0)
    factor = min(1.0, max(0.05, brightness))
    names = Palette.__dataclass_fields__
    dimmed = replace(RED, **{name: _dim(getattr(RED, name), factor) for name in names})
    return Theme(light, dimmed, factor)


def next_brightness(brightness: float, steps: int) -> float:
    """The brightness so many steps up or down the ladder."""
    nearest = min(range(len(BRIGHTNESS_STEPS)), key=lambda i: abs(BRIGHTNESS_STEPS[i] - brightness))
    return BRIGHTNESS_STEPS[min(len(BRIGHTNESS_STEPS) - 1, max(0, nearest + steps))]


def mix(a: Rgb, b: Rgb, share_of_b: float) -> Rgb:
    """A colour between two others."""
    return (
        round(a[0] + (b[0] - a[0]) * share_of_b),
        round(a[1] + (b[1] - a[1]) * share_of_b),
        round(a[2] + (b[2] - a[2]) * share_of_b),
    )


def contrast(a: Rgb, b: Rgb) -> float:
    """Contrast ratio of two colours, 1 to 21. Source: WCAG 2.2, contrast ratio and relative luminance."""
    la, lb = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (la + 0.05) / (lb + 0.05)


def _dim(colour: Rgb, factor: float) -> Rgb:
    return (round(colour[0] * factor), round(colour[1] * factor), round(colour[2] * factor))


def _luminance(colour: Rgb) -> float:
    def linear(channel: int) -> float:
        c = channel / 255.0
        return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4

    return 0.2126 * linear(colour[0]) + 0.7152 * linear(colour[1]) + 0.0722 * linear(colour[2])
