"""Instants written as text in tests."""

from __future__ import annotations

from polewright.core.model import Utc
from polewright.core.sky.timescales import parse_iso


def utc_from_iso(text: str) -> Utc:
    """The instant of ISO text, taken as UTC when it states no offset; UsageError when it is anything else."""
    return parse_iso(text).utc
