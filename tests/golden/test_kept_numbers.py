"""Every number that the measuring parts give for worked cases is the one that was kept.

No outside source: see tests/kept_numbers.py. What was meant to change is kept anew with
`python tests/bench/record_nights.py --numbers`, after somebody has looked at what this test names.
"""

from __future__ import annotations

import pytest

from kept_numbers import ABSOLUTE, CASES, RELATIVE, kept, plain
from recorded_nights import disagreement


@pytest.mark.parametrize("name", CASES)
def test_the_numbers_of_a_case_are_those_kept(name: str) -> None:
    assert disagreement(kept()[name], plain(CASES[name]()), name, RELATIVE, ABSOLUTE) is None


def test_no_case_is_kept_that_nobody_asks() -> None:
    assert list(kept()) == list(CASES)
