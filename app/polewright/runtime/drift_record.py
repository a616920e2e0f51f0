"""The line that a drift leaves in the record once it has had its say; the night's report reads it."""

from __future__ import annotations

from typing import Any

from polewright.core.night.effects import KeepDrift
from polewright.core.plain import to_plain

DRIFT_KIND = "drift_proof"


def drift_record(effect: KeepDrift) -> dict[str, Any]:
    """The reading as plain values, and the comparison."""
    return {**to_plain(effect.reading), "comparison": to_plain(effect.comparison)}
