"""The other way round: whatever the coach, a refused click or a grey key says is explained in the guide."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from coach_reasons import SAMPLES
from polewright.core.night.advice import Advice
from polewright.services.resources import find_resource
from polewright.ui.presenting import actions
from polewright.words.coach import say
from polewright.words.objections import WORDS
from polewright.words.window import AT_WORK, FIRST_STAGE, NO_CLICK, NOTHING_YET

MESSAGES = Path(str(find_resource("guide/messages.md"))).read_text(encoding="utf-8")
KEYS_THAT_SAY_WHY = (AT_WORK, FIRST_STAGE, NO_CLICK, NOTHING_YET)


def rows() -> list[re.Pattern[str]]:
    """The quoted part of each row of the tables; `…` stands for what changes."""
    quoted = [
        quote
        for line in MESSAGES.splitlines()
        if line.startswith(("| **", "| *"))
        for quote in re.findall(r"\*+([^*]+)\*+", line.split("|")[1])
    ]
    return [re.compile(".*".join(map(re.escape, map(str.strip, quote.split("…"))))) for quote in quoted]


ROWS = rows()


def explained(text: str) -> bool:
    """Whether a row quotes it."""
    return any(row.search(text) for row in ROWS)


@pytest.mark.parametrize("sentence", sorted({say(Advice(reason)).instruction for reason in SAMPLES}))
def test_every_sentence_of_the_coach_has_a_row(sentence: str) -> None:
    assert explained(sentence)


@pytest.mark.parametrize("why", sorted({reason.format(screw="azimuth") for reason, _ in WORDS.values()}))
def test_every_refused_click_has_a_row(why: str) -> None:
    assert explained(why)


@pytest.mark.parametrize("why", KEYS_THAT_SAY_WHY)
def test_every_grey_key_has_a_row(why: str) -> None:
    assert explained(why)


def test_a_sentence_that_nobody_says_has_none() -> None:
    assert not explained("Paint the tripod blue.")


def grey_calls() -> list[str]:
    """Where a button may be grey: file and line, and whether it says why."""
    app = Path(actions.__file__).parents[2]
    found = []
    for path in sorted(app.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = {word.arg for word in node.keywords} if isinstance(node, ast.Call) else set()
            if isinstance(node, ast.Call) and "enabled" in named:
                found.append(f"{path.name}:{node.lineno} {'says why' if 'why_not' in named else 'says nothing'}")
    return found


def test_no_button_is_grey_without_saying_why() -> None:
    assert len(grey_calls()) >= 4
    assert [call for call in grey_calls() if call.endswith("says nothing")] == []
