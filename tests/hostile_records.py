"""Records of nights with every kind of damage that keeps the checksums right: somebody edited them, or a disk mixed
them up. Poisoned numbers, wrong kinds, deep nesting, lines left out, doubled or moved."""

from __future__ import annotations

import json
import math
import random
import zlib
from typing import Any

POISON: tuple[Any, ...] = (
    math.inf, -math.inf, math.nan, 1e308, -1e308, 5e-324, 0.0, -1.0, 2**62, 10**400, "", "x" * 4000,
    "<script>alert(1)</script>", "\u202e\u2066name\n", None, True, [], {}, [[[]]], {"kind": "Waiting"},
    {"kind": "nonsense"},
)  # fmt: skip
DEEP = 200


def lines_of(record: bytes) -> list[dict[str, Any]]:
    """The members of every line, without the checksum."""
    members = [json.loads(line) for line in record.splitlines()]
    for one in members:
        del one["crc"]
    return members


def record_of(lines: list[dict[str, Any]]) -> bytes:
    """The record of such lines, checksums right."""
    bodies = [json.dumps(_tagged(line), separators=(",", ":")).encode("ascii") for line in lines]
    return b"".join(body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(body) for body in bodies)


def damaged(lines: list[dict[str, Any]], rng: random.Random) -> list[dict[str, Any]]:
    """A copy with one to four faults."""
    lines = json.loads(json.dumps(lines))
    for _ in range(rng.randint(1, 4)):
        kind, at = rng.randrange(8), rng.randrange(len(lines))
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, lines[rng.randrange(len(lines))])
        elif kind == 2:
            other = rng.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 3:
            deep: Any = rng.choice(POISON)
            for _ in range(rng.randint(1, DEEP)):
                deep = [deep] if rng.random() < 0.5 else {"kind": deep}
            _set(lines[at], rng, deep)
        else:
            _set(lines[at], rng, rng.choice(POISON))
        if not lines:
            break
    return lines


def _set(line: dict[str, Any], rng: random.Random, value: Any) -> None:
    """Put `value` at a random place in the line."""
    place: Any = line if rng.random() < 0.1 else line["data"]
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        if not keys:
            return
        key = rng.choice(keys)
        if isinstance(place[key], dict | list) and place[key] and rng.random() < 0.9:
            place = place[key]
        else:
            place[key] = value
            return


def _tagged(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return {"$float": repr(value)}
    if isinstance(value, dict):
        return {key: _tagged(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_tagged(item) for item in value]
    return value
