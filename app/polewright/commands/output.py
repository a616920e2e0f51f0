"""JSON for other programs: every number is one that JSON has."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any


def json_text(facts: Any) -> str:
    """`facts` as one line; what is no number (nan, inf) becomes null."""
    return json.dumps(_finite(facts), allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {name: _finite(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value
