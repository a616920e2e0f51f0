"""Palettes: contrast by the formula of WCAG 2.2 (success criteria 1.4.3 text 4.5:1, 1.4.11 marks 3:1)."""

from __future__ import annotations

import pytest

from polewright.ui.theme import (
    BRIGHTNESS_STEPS,
    DAY,
    RED,
    Light,
    Palette,
    contrast,
    make_theme,
    next_brightness,
)

TEXT = ("ink", "strong", "faint", "accent")
MARKS = ("ink", "strong", "accent", "shade")


def test_formula_agrees_with_wcag() -> None:
    """Black on white is 21:1 and #777 on white 4.48:1: WCAG 2.2, G18 and its often quoted limit grey."""
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((0x77, 0x77, 0x77), (255, 255, 255)) == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("behind", ["ground", "raised"])
def test_day_text_and_marks(behind: str) -> None:
    for role in TEXT:
        assert contrast(getattr(DAY, role), getattr(DAY, behind)) >= 4.5, (role, behind)
    for role in MARKS:
        assert contrast(getattr(DAY, role), getattr(DAY, behind)) >= 3.0, (role, behind)


def test_day_text_on_the_accent_and_on_a_selection() -> None:
    assert contrast(DAY.accent_ink, DAY.accent) >= 4.5
    assert contrast(DAY.ground, DAY.ink) >= 4.5
    assert contrast(DAY.strong, DAY.floor) >= 4.5


def test_red_text_at_full_brightness() -> None:
    """Pure red on black reaches 5.25:1 and no more; the main sentence and the marker take it all."""
    assert contrast(RED.strong, RED.ground) == pytest.approx((0.2126 + 0.05) / 0.05)
    for behind in (RED.ground, RED.raised):
        assert all(contrast(getattr(RED, role), behind) >= 4.5 for role in TEXT)
        assert contrast(RED.shade, behind) >= 3.0
    assert contrast(RED.strong, RED.floor) >= 4.5


def test_red_steps_are_told_apart_by_brightness_alone() -> None:
    ladder = [RED.ground, RED.raised, RED.hollow, RED.line, RED.shade, RED.faint, RED.ink, RED.strong]
    assert [c[0] for c in ladder] == sorted(c[0] for c in ladder)
    assert len({c[0] for c in ladder}) == len(ladder)


@pytest.mark.parametrize("brightness", [0.01, *BRIGHTNESS_STEPS, 3.0])
def test_red_has_no_green_or_blue(brightness: float) -> None:
    palette: Palette = make_theme(Light.RED, brightness).palette
    for role in Palette.__dataclass_fields__:
        assert getattr(palette, role)[1:] == (0, 0)


def test_brightness_ladder_ends() -> None:
    assert next_brightness(1.0, 1) == 1.0
    assert next_brightness(BRIGHTNESS_STEPS[0], -1) == BRIGHTNESS_STEPS[0]
    assert next_brightness(0.8, -1) == 0.63
