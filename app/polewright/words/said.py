"""A reason in words and what to do about it."""

from __future__ import annotations

from typing import NamedTuple


class Said(NamedTuple):
    """A reason in words, and the cure."""

    reason: str
    cure: str

    @property
    def whole(self) -> str:
        """Both, one after the other."""
        return f"{self.reason} {self.cure}".strip()
