"""What is said about a frame that cannot be used: every reason alone, and that headline, action and cure agree."""

from __future__ import annotations

import re

import numpy as np
import pytest

from frame_reasons import SAMPLES, every_class
from polewright.core.matching.leading_reason import leading_reason
from polewright.core.model import StarList
from polewright.core.night import advice as says
from polewright.core.night.advice import frame_action
from polewright.core.star_trouble import CapOn, TooBright, TooFewStars, Trailed
from polewright.core.unsolved import Fault, FrameReason, NoMatch, exposure_factor, trouble_of
from polewright.words.frames import frame_gain, frame_headline, frame_words
from polewright.words.kinds import kind_text
from solver_fields import star_list

LONGER, SHORTER = (
    re.compile(r"longer|times as long|shows fainter"),
    re.compile(r"shorter|a tenth|wait until it is dark"),
)
named = pytest.mark.parametrize("why", SAMPLES, ids=kind_text)


def test_there_is_a_sample_of_every_reason() -> None:
    assert {type(why) for why in SAMPLES} == every_class()


@named
def test_every_reason_is_told_in_sentences(why: FrameReason) -> None:
    said = frame_words(why)
    assert re.fullmatch(r"\S.*[.?]", said.reason) and re.fullmatch(r"[A-Z].*\.", said.cure)
    assert len(frame_headline(why).split()) <= 8 and frame_headline(why).endswith(".")


@named
def test_headline_action_gain_and_cure_never_contradict(why: FrameReason) -> None:
    everything = " ".join((frame_headline(why), frame_words(why).whole, frame_gain(why)))
    assert not (LONGER.search(everything) and SHORTER.search(everything)), everything
    action, factor = frame_action(why), exposure_factor(why)
    assert isinstance(action, says.Expose) == (factor != 1.0)
    if isinstance(action, says.Expose):
        assert action.factor == factor
        assert bool(SHORTER.search(everything)) == (factor < 1.0), everything
    if action is says.Do.REFOCUS:
        assert "ocus" in frame_headline(why) and "Focus" in frame_words(why).cure
    if "the cap off" in everything:
        assert isinstance(action, says.Wait) and not LONGER.search(everything) and "clouds" not in everything


@pytest.mark.parametrize(
    ("why", "better"),
    [
        (TooBright(2.0, 1.0), "Expose 0.2 s instead of 2 s"),
        (TooBright(2.0, 0.63), "Expose 0.2 s instead of 2 s"),
        (TooFewStars(2.0, 0, 0), "expose 8 s instead of 2 s"),
        (TooFewStars(0.05, 0, 3, 8, 2.0), "Expose 0.5 s instead of 0.05 s"),
    ],
)
def test_the_exposure_asked_for_is_the_one_told(why: TooBright | TooFewStars, better: str) -> None:
    """A saturated frame said "0.2 s instead of 2 s" and asked for half the exposure."""
    assert why.better_s is not None and why.exposure_s is not None
    assert why.exposure_factor == pytest.approx(why.better_s / why.exposure_s)
    assert better in frame_words(why).cure


def test_a_cap_is_told_as_a_cap() -> None:
    """It was told as "Expose longer." above "Take the cap off"."""
    assert frame_headline(CapOn(0.0)) == "Take the cap off."
    assert frame_words(CapOn(12.0)).reason == "Every pixel has the value 12: no light reached the camera."


def test_a_fault_of_the_program_is_not_laid_on_the_camera() -> None:
    """It was told as "Check the camera program's file format."."""
    assert "camera" not in frame_headline(Fault("a.fits")) + frame_words(Fault("a.fits")).whole


def test_one_number_of_stars_is_asked_for() -> None:
    """One report asked for 4 at least and for 5."""
    few = leading_reason(star_list_of(3), None)
    many = leading_reason(star_list_of(6), NoMatch(6, 10.0))
    assert (
        {few.needed, many.needed} == {8} if isinstance(few, TooFewStars) and isinstance(many, TooFewStars) else False
    )
    assert frame_words(few).reason == "3 stars found, 8 needed."


def test_trails_leave_both_ways_open() -> None:
    said = frame_words(Trailed(20, 30.0, 30.0))
    assert said.cure == (
        "Hands off while frames are taken. If nobody touched it, switch tracking on, or expose 6 s instead of 30 s."
    )


def test_every_reason_has_a_kind_for_the_coach() -> None:
    assert {trouble_of(why).name for why in SAMPLES} == {
        "COVERED", "NO_STARS", "TOO_FEW_STARS", "OUT_OF_FOCUS", "TRAILED", "SATURATED", "NO_MATCH", "NO_TIME",
        "WRONG_SKY", "UNREADABLE", "NOT_FOLLOWED",
    }  # fmt: skip


def star_list_of(count: int) -> StarList:
    return star_list(np.arange(5.0, 5.0 + count), np.arange(5.0, 5.0 + count), 0.3, 640, 480)
