"""What each click would do at moments of the kept nights, and what each function of the state says, is what was kept.

No outside source: see tests/probed_nights.py. What was meant to change is kept anew with
`python tests/bench/record_nights.py --shown`, after somebody has looked at what this test names.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest

from probed_nights import kept, probed
from recorded_nights import disagreement, plain


@pytest.mark.parametrize("name", kept())
def test_every_way_on_from_a_moment_is_as_it_was(name: str) -> None:
    for line, told in probed(name, [int(line) for line in kept()[name]]):
        before, found = dict(kept()[name][str(line)]), _known(plain(told))
        shared = before["says"].keys() & found["says"].keys()
        assert len(shared) > 0.9 * len(before["says"]), "too many functions have another name: keep them anew"
        before["says"] = {question: before["says"][question] for question in shared}
        assert disagreement(before, found, f"{name}, line {line}: ", 1e-6) is None


def test_moments_enough_are_asked() -> None:
    assert sum(len(lines) for lines in kept().values()) >= 50


def _known(found: Any) -> Any:
    """Without fields and functions that nothing kept has: they are newer."""
    if isinstance(found, dict):
        return {name: _known(value) for name, value in found.items() if name in _names()}
    return [_known(value) for value in found] if isinstance(found, list) else found


@cache
def _names() -> frozenset[str]:
    return frozenset(_names_in(kept()))


def _names_in(told: Any) -> Iterator[str]:
    if isinstance(told, dict):
        yield from told
    for inner in told.values() if isinstance(told, dict) else told if isinstance(told, list) else ():
        yield from _names_in(inner)
