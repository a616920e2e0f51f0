"""Events <-> plain values for a JSON log, exact to the last bit."""

from __future__ import annotations

import math
import typing
from collections.abc import Mapping

from polewright.core.errors import RecordingError, UsageError
from polewright.core.night.events import AnyEvent
from polewright.core.plain import from_plain

EVENT_KINDS: Mapping[str, type] = {kind.__name__: kind for kind in typing.get_args(AnyEvent)}

LARGEST = 1e12  # no time, angle or count of a night comes near it; beyond, a line is damaged
NO_NUMBERS = ("nan", "inf", "-inf")
ENDLESS = {"here_s", "there_s"}  # of a drift so scattered that hours would not do


def event_from_plain(data: object) -> AnyEvent:
    """The event of such a mapping; RecordingError when it is damaged or unknown."""
    kind = EVENT_KINDS.get(str(data.get("kind"))) if isinstance(data, Mapping) else None
    if kind is None:
        raise RecordingError(f"The record names no known event: {str(data)[:60]!r}.")
    if not _finite(data):
        raise RecordingError(f"The record holds an impossible number in {kind.__name__}.")
    try:
        return typing.cast(AnyEvent, from_plain(kind, data))
    except UsageError as exc:
        raise RecordingError(f"The record holds an impossible event: {exc}") from exc


def _finite(data: object) -> bool:
    """Whether every number in it is one that something measured: no event holds a larger one, or none at all."""
    if isinstance(data, float | int):
        return -LARGEST < data < LARGEST
    if isinstance(data, Mapping):
        return all(_finite(item) or (name in ENDLESS and item in ("inf", math.inf)) for name, item in data.items())
    if isinstance(data, list | tuple):
        return all(_finite(item) for item in data)
    return data not in NO_NUMBERS
