"""What the window showed in twelve recorded nights is shown again: numbers, sides, marks and buttons.

The state behind it comes out again too, to seven digits.

No outside source: these nights hold the window to what it showed before. What was meant to change is kept anew with
`python tests/bench/record_nights.py --shown`, after somebody has looked at the difference that this test names.
"""

from __future__ import annotations

from collections import Counter

import pytest

import recorded_nights as kept
from polewright.ui.view_model import Page
from shown_nights import NIGHTS, figures, read_shown, shown


@pytest.mark.parametrize("name", NIGHTS)
def test_the_window_shows_a_kept_night_as_it_did(name: str) -> None:
    moments = read_shown(name)
    known = {leaf for _, state, *_ in moments for leaf in state}  # not what it has got since
    for (line, state, *views), before in zip(kept.plain(list(shown(name))), moments, strict=True):
        moment = [line, {leaf: value for leaf, value in state.items() if leaf in known}, *views]
        assert kept.disagreement(before, moment, f"{name}, line {before[0]}: ", 1e-6) is None


def test_every_page_of_a_night_is_among_them() -> None:
    pages = Counter(view["page"] for name in NIGHTS for _, _, *views in read_shown(name) for view in views)
    assert {page.name for page in Page} - set(pages) == {"FIRST_RUN", "NIGHTS"}


def test_of_a_text_its_numbers_and_sides_are_kept() -> None:
    told = "Turn the azimuth screw −1/4 turn clockwise: it is 12.5′ too far east, ± 3″."
    assert figures(told) == "−1/4 clockwise 12.5 east 3"
    assert figures((1.0, None, "plain words", ("up", True))) == [1.0, None, "", ["up", True]]
