"""What each click would do at moments of the kept nights, and what each function of the state says, is what was kept.

No outside source: see tests/probed_nights.py. What was meant to change is kept anew with
`python tests/bench/record_nights.py --shown`, after somebody has looked at what this test names.
"""

from __future__ import annotations

import pytest

from probed_nights import kept, probed
from recorded_nights import disagreement, plain


@pytest.mark.parametrize("name", kept())
def test_every_way_on_from_a_moment_is_as_it_was(name: str) -> None:
    before = kept()[name]
    for line, found in probed(name, [int(line) for line in before]):
        known = before[str(line)]
        shared = known["says"].keys() & found["says"].keys()
        assert len(shared) > 0.9 * len(known["says"]), "too many functions have another name: keep them anew"
        for told in (known, found):
            told["says"] = {question: told["says"][question] for question in sorted(shared)}
        assert disagreement(known, plain(found), f"{name}, line {line}: ", 1e-6) is None


def test_moments_enough_are_asked() -> None:
    assert sum(len(lines) for lines in kept().values()) >= 50
