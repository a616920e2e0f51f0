"""No number and no side of a sentence changes unnoticed: see tests/kept_sentences.py.

What was meant to change is kept anew with `python tests/bench/record_nights.py --sentences`.
"""

from __future__ import annotations

import pytest

from kept_sentences import functions, kept, said
from recorded_nights import disagreement


@pytest.mark.parametrize("name", sorted(kept().keys() & functions().keys()))
def test_the_numbers_and_sides_of_a_sentence_are_those_kept(name: str) -> None:
    assert disagreement(kept()[name], said(functions()[name]), name) is None


def test_most_functions_of_the_room_of_sentences_are_kept() -> None:
    assert len(kept().keys() & functions().keys()) > 0.9 * len(functions())
