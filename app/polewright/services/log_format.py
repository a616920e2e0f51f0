"""One line of a night's log: a JSON object whose last member is the checksum of everything before it.

    {"seq":7,"t":12.5,"utc":[2461100.5,0.84375],"kind":"frame_measured","data":{...},"crc":"1c291ca3"}

`seq` counts from 0 without gaps; `t` is seconds on the monotonic clock since the log began, going on over restarts;
`utc` is the two-part Julian date. Floats are written by repr, so that they come back bit for bit; what JSON has no
number for is written as {"$float": "nan"}. The checksum is CRC-32 (zlib) of the line without the crc member.
"""

from __future__ import annotations

import json
import math
import re
import zlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from polewright.core.model import Utc

FORMAT, VERSION = "polewright-night", 2
HEADER_KIND = "log"
CRC = re.compile(rb',"crc":"([0-9a-f]{8})"\}')
CRC_LENGTH = 18
HEAD = re.compile(rb'\{"seq":(\d+),"t":([^,]+),"utc":\[([^,]+),([^\]]+)\],"kind":"([^"\\]*)","data":')
FLOAT_TAG = "$float"
FIRST_JD, LAST_JD = 2305813.5, 5373483.5  # the years 1601 to 9999, which every system can write


@dataclass(frozen=True)
class LoggedEvent:
    """One event of a night."""

    seq: int
    t_s: float
    utc: Utc
    kind: str
    data: dict[str, Any]


def to_json_ready(value: Any) -> Any:
    """`value` (dicts with string keys, lists, tuples, numpy arrays and scalars, plain values) as JSON can hold it."""
    if type(value) is float and math.isfinite(value):  # nine in ten
        return value
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return number if math.isfinite(number) else {FLOAT_TAG: repr(number)}
    if isinstance(value, (np.bool_, np.integer)):
        return value.item()
    if isinstance(value, np.ndarray):
        if value.dtype.kind == "f" and np.isfinite(value).all():
            return value.tolist()
        return to_json_ready(value.tolist())
    if isinstance(value, Mapping):
        if FLOAT_TAG in value:
            raise TypeError(f"the key {FLOAT_TAG!r} has a meaning of its own in the log")
        return {_key(key): to_json_ready(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [to_json_ready(item) for item in value]
    raise TypeError(f"a {type(value).__name__} cannot be logged: give a plain value")


def _key(key: object) -> str:
    if not isinstance(key, str):
        raise TypeError(f"the key {key!r} cannot be logged: keys are strings")
    return key


def from_json(text: str | bytes) -> Any:
    """The inverse of `json.dumps(to_json_ready(...))`; tuples and arrays have become lists. ValueError if no JSON."""
    return json.loads(text, object_hook=_untagged)


def _untagged(members: dict[str, Any]) -> Any:
    return float(members[FLOAT_TAG]) if len(members) == 1 and FLOAT_TAG in members else members


def encode_line(event: LoggedEvent) -> bytes:
    """The line of an event, with its line feed."""
    members = {
        "seq": event.seq,
        "t": event.t_s,
        "utc": [event.utc.jd1, event.utc.jd2],
        "kind": event.kind,
        "data": to_json_ready(event.data),
    }
    body = json.dumps(members, ensure_ascii=True, separators=(",", ":"), allow_nan=False).encode("ascii")
    return body[:-1] + b',"crc":"%08x"}\n' % zlib.crc32(body)


def decode_line(line: bytes) -> LoggedEvent | None:
    """The event of a line (with or without its line feed); None when the line is damaged."""
    body = _checked(line)
    return None if body is None else _event(body)


def skim_line(line: bytes, wanted: Collection[str]) -> LoggedEvent | None:
    """The same, but of kinds that are not `wanted` the data are left out: nine tenths of the work."""
    body = _checked(line)
    if body is None:
        return None
    found = HEAD.match(body)
    if found is None or found[5].decode("latin-1") in wanted:
        return _event(body)
    return _event(body[: found.end()] + b"{}}")


def _checked(line: bytes) -> bytes | None:
    """The line without its checksum, which is right; None otherwise."""
    line = line.rstrip(b"\n")
    found = CRC.fullmatch(line[-CRC_LENGTH:])
    if found is None:
        return None
    body = line[:-CRC_LENGTH] + b"}"
    return body if zlib.crc32(body) == int(found[1], 16) else None


def _event(body: bytes) -> LoggedEvent | None:
    try:
        members = from_json(body)
        jd1, jd2 = members["utc"]
        seq, t_s, kind, data = int(members["seq"]), float(members["t"]), members["kind"], members["data"]
        utc = Utc(float(jd1), float(jd2))
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None
    sound = isinstance(kind, str) and isinstance(data, dict) and seq >= 0 and math.isfinite(t_s)
    in_calendar = FIRST_JD <= utc.jd1 + utc.jd2 < LAST_JD
    return LoggedEvent(seq, t_s, utc, kind, data) if sound and in_calendar else None
