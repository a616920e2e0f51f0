"""Names of values for machines: stable, in snake case, beside the sentences for people."""

from __future__ import annotations

import re

from polewright.words.said import Said

_HUMP = re.compile(r"(?<!^)(?=[A-Z])")


def kind_text(value: object) -> str:
    """The kind of a value: `too_few_stars` of a TooFewStars."""
    return _HUMP.sub("_", type(value).__name__).lower()


def told_facts(value: object, said: Said) -> dict[str, object]:
    """A reason as the JSON output promises it: `kind`, `reason`, `cure`."""
    return {"kind": kind_text(value), "reason": said.reason, "cure": said.cure}
