"""Numbers as people read them."""

from __future__ import annotations

import math

import pytest

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.axis_reasons import Look, WeakView
from polewright.words.axis import follow_words
from polewright.words.numbers import (
    angle_text,
    chance_text,
    clock_face_text,
    duration_text,
    number_text,
    offset_words,
    rate_text,
    sense_text,
    sigma_text,
    total_text,
    turns_text,
)


@pytest.mark.parametrize(
    ("angle_rad", "sigma_rad", "text"),
    [
        (math.radians(3.456), None, "3.5°"),
        (math.radians(1.99), None, "120′"),
        (12.34 / ARCMIN_PER_RAD, None, "12′"),
        (-12.34 / ARCMIN_PER_RAD, 3.0 / ARCMIN_PER_RAD, "12′"),
        (2.04 / ARCMIN_PER_RAD, None, "2.0′"),
        (1.99 / ARCMIN_PER_RAD, None, "120″"),
        (45.4 / ARCSEC_PER_RAD, None, "45″"),
        (5.23 / ARCSEC_PER_RAD, 0.3 / ARCSEC_PER_RAD, "5.2″"),
        (5.23 / ARCSEC_PER_RAD, 2.0 / ARCSEC_PER_RAD, "5″"),
        (9.96 / ARCSEC_PER_RAD, None, "10″"),
        (4.0 / ARCSEC_PER_RAD, 30.0 / ARCSEC_PER_RAD, "0″"),
        (0.0, None, "0″"),
        (float("nan"), None, "unknown"),
    ],
)
def test_angles(angle_rad: float, sigma_rad: float | None, text: str) -> None:
    assert angle_text(angle_rad, sigma_rad) == text


@pytest.mark.parametrize(
    ("total_arcsec", "sigma_arcsec", "text"),
    [(4.2, 15.0, "under 10″"), (1.0, 3.0, "1″"), (0.4, 3.0, "under 1″"), (45.4, 15.0, "50″"), (0.0, 3.0, "0″")],
)
def test_a_distance_from_the_pole_is_never_nothing(total_arcsec: float, sigma_arcsec: float, text: str) -> None:
    """An axis 4.2″ ± 13″ off was told as good enough at 0″."""
    assert total_text(total_arcsec / ARCSEC_PER_RAD, sigma_arcsec / ARCSEC_PER_RAD) == text


def test_a_distance_is_rounded_as_its_components_are() -> None:
    """An axis 12″ ± 8″ too far west and 2″ ± 8″ too high was told as 10″ off in all."""
    east, each = 11.9 / ARCSEC_PER_RAD, 8.4 / ARCSEC_PER_RAD
    assert offset_words(east, each, with_sigma=False) == "12″ too far east"
    assert total_text(1.01 * east, 2.0**0.5 * each) == "12″"


def test_signs_are_words() -> None:
    assert offset_words(12.0 / ARCMIN_PER_RAD) == "12′ too far east"
    assert offset_words(-12.0 / ARCMIN_PER_RAD, None, "east") == "12′ too far west"
    assert offset_words(3.0 / ARCMIN_PER_RAD, 0.2 / ARCMIN_PER_RAD, "up") == "3.0′ too high (± 12″)"
    assert offset_words(-3.0 / ARCMIN_PER_RAD, 0.2 / ARCMIN_PER_RAD, "up", with_sigma=False) == "3.0′ too low"
    assert offset_words(1.0 / ARCSEC_PER_RAD, 20.0 / ARCSEC_PER_RAD, "up", False) == "neither high nor low"
    assert offset_words(0.0, None, "east") == "neither east nor west"


def test_sigma_has_one_digit_or_two_after_a_one() -> None:
    assert sigma_text(12.4 / ARCSEC_PER_RAD) == "± 12″"
    assert sigma_text(27.0 / ARCSEC_PER_RAD) == "± 30″"


@pytest.mark.parametrize(
    ("turns", "text"),
    [
        (0.5, "1/2 turn"),
        (-1.25, "1 1/4 turns"),
        (1.0, "1 turn"),
        (2.0, "2 turns"),
        (0.125, "1/8 turn"),
        (2.9, "2 7/8 turns"),
        (3.3, "3 1/4 turns"),
        (0.667, "2/3 turn"),
        (0.0667, "1/15 turn"),
        (1 / 60, "1/60 turn"),
        (1 / 120, "1/120 turn"),
        (1 / 240, "a touch"),
    ],
)
def test_turns(turns: float, text: str) -> None:
    assert turns_text(turns) == text


def test_clock_face_senses_rates_times_and_shares() -> None:
    assert clock_face_text(0.25) == "from 12 to 3 on a clock face"
    assert clock_face_text(-1 / 6) == "from 12 to 10 on a clock face"
    assert clock_face_text(1 / 40) == "1 1/2 of the 60 marks on a clock face"
    assert clock_face_text(1 / 120) == "" and clock_face_text(1 / 60) == "1 of the 60 marks on a clock face"
    assert clock_face_text(0.5) == "from 12 to 6 on a clock face" == clock_face_text(-0.5)
    assert clock_face_text(11 / 12) == "" == clock_face_text(-3 / 4)  # "from 12 to 11" is read as the short way back
    assert clock_face_text(1.25) == "" and clock_face_text(1 / 8) == "" and clock_face_text(1 / 240) == ""
    assert sense_text(0.1) == "clockwise" and sense_text(-0.1) == "anticlockwise"
    assert rate_text(-62.3, 1.9) == "62′ a turn, ± 3 %"
    assert rate_text(62.3) == "62′ a turn"
    assert [duration_text(s) for s in (4.2, 80.0, 120.0, 720.0, 3900.0, 7200.0, float("inf"))] == [
        "4 s",
        "1 min 20 s",
        "2 min",
        "12 min",
        "1 h 5 min",
        "2 h",
        "unknown",
    ]
    assert [chance_text(p) for p in (0.0, 0.004, 0.5, 0.96, 0.999, 1.0)] == [
        "under 1 %",
        "under 1 %",
        "50 %",
        "96 %",
        "over 99 %",
        "over 99 %",
    ]
    assert number_text(0.0) == "0" and number_text(0.046) == "0.046" and number_text(1234.0) == "1200"


def test_no_large_number_has_an_exponent() -> None:
    """A camera that sees the screws badly is uncertain by 120", not by 1.2e+02"."""
    assert "a frame adds about 120″ of its own" in follow_words(WeakView(Look.ZENITH, 123.4 / 206264.8, None))
