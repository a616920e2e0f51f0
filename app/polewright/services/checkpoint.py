"""Where a night stood at one line of its log, beside the log: it saves the time to go through it again, nothing else.

The log alone is the night. A checkpoint is believed only where it was written by the very same code over the very
same bytes: format, code and the digest of the log up to that line are compared, and whatever differs makes it worth
nothing. It is written whole or not at all; one that cannot be written or read is passed over in silence, for nothing
is lost.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import polewright
from polewright import __version__
from polewright.services.atomic_file import write_atomically
from polewright.services.log_format import from_json, to_json_ready
from polewright.services.regular_file import read_regular

CHECKPOINT_NAME = "night.checkpoint"
CHECKPOINT_FORMAT = 1
LARGEST_CHECKPOINT = 16 << 20  # bytes; a long night's state takes 0.2 MB (tests/bench/long_night.py, one run)
DECIDING = ("core", "runtime")  # the rooms whose code makes a state of events


@dataclass(frozen=True)
class Checkpoint:
    """`state` as plain values, after the line `seq`, the last of the first `offset` bytes of the log."""

    seq: int
    offset: int
    state: dict[str, Any]


def log_digest(blob: bytes = b"") -> hashlib.blake2b:
    """A digest to go on with as the log grows."""
    return hashlib.blake2b(blob, digest_size=16)


def write_checkpoint(folder: Path, checkpoint: Checkpoint, digest: str) -> None:
    """Keep it in the folder of the night, in place of the one before."""
    members = {
        "format": CHECKPOINT_FORMAT,
        "code": code_mark(),
        "digest": digest,
        "seq": checkpoint.seq,
        "offset": checkpoint.offset,
        "state": to_json_ready(checkpoint.state),
    }
    content = json.dumps(members, separators=(",", ":"), allow_nan=False).encode("ascii")
    sealed = b"%s%s}" % (_seal(content), content)
    with contextlib.suppress(OSError):
        write_atomically(folder / CHECKPOINT_NAME, sealed)


def read_checkpoint(folder: Path, log: bytes) -> Checkpoint | None:
    """The checkpoint of this log; None where there is none that may be believed."""
    try:
        sealed = read_regular(folder / CHECKPOINT_NAME, LARGEST_CHECKPOINT)
        content = sealed[len(_seal(b"")) : -1]
        if sealed != b"%s%s}" % (_seal(content), content):
            return None
        members = from_json(content)
        if (members["format"], members["code"]) != (CHECKPOINT_FORMAT, code_mark()):
            return None
        offset = int(members["offset"])
        whole = 0 < offset <= len(log) and log[offset - 1 : offset] == b"\n"
        if not whole or log_digest(log[:offset]).hexdigest() != members["digest"]:
            return None
        return Checkpoint(int(members["seq"]), offset, members["state"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def _seal(content: bytes) -> bytes:
    """What stands before the content, as long for any."""
    return b'{"sum":"%s","checkpoint":' % log_digest(content).hexdigest().encode()


@lru_cache(maxsize=1)
def code_mark() -> str:
    """Changes with every change of the code that makes states; in a frozen program, without sources, its version."""
    mark = hashlib.blake2b(__version__.encode(), digest_size=16)
    package = Path(polewright.__file__).parent
    for room in DECIDING:
        for source in sorted((package / room).rglob("*.py")):
            mark.update(source.relative_to(package).as_posix().encode() + source.read_bytes())
    return mark.hexdigest()
