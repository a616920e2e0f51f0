"""What is said about an axis, a drift and a shift: every class has a sample, every sample its sentences."""

from __future__ import annotations

import re
import typing
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from axis_samples import DOUBTS, DRIFT_DOUBTS, DRIFT_REFUSALS, FOLLOWED, REFUSALS, SHIFT_REFUSALS
from polewright.core import axis_reasons as axis
from polewright.core.angles import SIDEREAL_RATE_RAD_S
from polewright.core.drift import reasons as drift
from polewright.core.drift.compare import Cause, Comparison
from polewright.words.axis import doubt_words, follow_words, refusal_words
from polewright.words.drift import (
    comparison_words,
    drift_doubt_words,
    drift_refusal_words,
    shift_words,
    unknown_words,
)

SETS: dict[str, tuple[Any, tuple[Any, ...]]] = {
    "refusals": (axis.AxisRefusal, REFUSALS),
    "doubts": (axis.AxisDoubt, DOUBTS),
    "followed": (axis.FollowDoubt, FOLLOWED),
    "drift refusals": (drift.DriftRefusal, DRIFT_REFUSALS),
    "shift refusals": (drift.ShiftRefusal, SHIFT_REFUSALS),
    "drift doubts": (drift.DriftDoubt, DRIFT_DOUBTS),
}


@pytest.mark.parametrize("name", SETS)
def test_there_is_a_sample_of_every_class(name: str) -> None:
    union, samples = SETS[name]
    assert {type(sample) for sample in samples} == set(typing.get_args(union))


@pytest.mark.parametrize(
    ("words", "samples"),
    [(refusal_words, REFUSALS), (drift_refusal_words, DRIFT_REFUSALS), (shift_words, SHIFT_REFUSALS)],
)
def test_every_refusal_has_a_reason_and_a_cure(words: Callable[[Any], Any], samples: tuple[Any, ...]) -> None:
    for sample in samples:
        said = words(sample)
        assert re.fullmatch(r"\S.*[.?]", said.reason) and re.fullmatch(r"[A-Z].*\.", said.cure), said
        assert "None" not in said.whole and "nan" not in said.whole


@pytest.mark.parametrize(
    ("words", "samples"), [(doubt_words, DOUBTS), (follow_words, FOLLOWED), (drift_doubt_words, DRIFT_DOUBTS)]
)
def test_every_doubt_is_a_sentence(words: Callable[[Any], str], samples: tuple[Any, ...]) -> None:
    told = [words(sample) for sample in samples]
    assert all(re.fullmatch(r"\S.*[.?]", text) and "None" not in text for text in told)
    assert len(set(told)) == len(told), "two that read alike"


def test_what_was_allowed_for_is_told_with_its_size() -> None:
    kick = axis.MishapFound(axis.Mishap.KICK, "b", 4.0 / 3437.75, 2, 4, True)
    assert "itself moved by about 4.0′ before b" in doubt_words(kick)
    assert "by about 4.0′ after b" in doubt_words(replace(kick, mishap=axis.Mishap.SLIP, index=1))
    hour = replace(kick, mishap=axis.Mishap.TIME, size_rad=3600.0 * SIDEREAL_RATE_RAD_S, undone=False)
    assert "from b on seems wrong by about 60 min" in doubt_words(hour)


def test_a_drift_that_agrees_says_what_it_does_not_tell() -> None:
    told = Comparison(1e-5, 0.0, 1.0, True, Cause.NONE)
    assert comparison_words(told, None) == "Drift and turn agree to 2.1″."
    assert comparison_words(told, drift.Unknown.AZIMUTH).endswith(unknown_words(drift.Unknown.AZIMUTH))
    differ = [comparison_words(Comparison(1e-3, 0.0, 99.0, False, cause), None) for cause in Cause]
    assert all(text.startswith("Drift and turn differ by 3.4′.") for text in differ[1:]) and len(set(differ)) == 5
