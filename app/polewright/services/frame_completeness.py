"""Whether a frame file looks finished, from a few of its bytes: a finished frame need not wait until it is quiet."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import BinaryIO

from polewright.services.frame_reader.facts import DamagedError
from polewright.services.frame_reader.families import FITS, family_of
from polewright.services.frame_reader.fits_structure import BLOCK, Hdu, read_hdu
from polewright.services.regular_file import open_regular

HEADER_CHUNK = 12 * BLOCK  # 432 cards; longer headers are read again in full
MAX_HEADER = 400 * BLOCK  # 1.1 MB: no camera writes so many cards
TAIL = 4096  # bytes read from the end of a file, where its last marks stand (chosen)
LONGEST_START = 16  # bytes by which every kind of file is known


class Completeness(Enum):
    COMPLETE = "complete"
    INCOMPLETE = "incomplete"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Inspection:
    """The verdict; `fingerprint` is the same for the same image, None where it cannot be had cheaply."""

    verdict: Completeness
    fingerprint: bytes | None = None


Inspect = Callable[[Path, int], Inspection]
INCOMPLETE = Inspection(Completeness.INCOMPLETE)
UNKNOWN = Inspection(Completeness.UNKNOWN)


def inspect_frame(path: Path, size_bytes: int) -> Inspection:
    """Look at a file that is `size_bytes` long; a file that cannot be opened (locked) is incomplete."""
    if size_bytes == 0:
        return INCOMPLETE
    try:
        with open_regular(path) as file:
            return _inspect_open(file, path.name.lower(), size_bytes)
    except OSError:
        return INCOMPLETE


def _inspect_open(file: BinaryIO, name: str, size_bytes: int) -> Inspection:
    if name.endswith(tuple(FITS.suffixes)):
        return _inspect_fits(file, size_bytes)
    family = family_of(name, file.read(LONGEST_START))
    if family is None or not family.end or not name.endswith(tuple(family.suffixes)):
        return UNKNOWN
    if _tail(file, size_bytes, len(family.end)) == family.end:
        return Inspection(Completeness.COMPLETE)
    return INCOMPLETE if family.last else UNKNOWN


def _tail(file: BinaryIO, size_bytes: int, length: int) -> bytes:
    file.seek(max(0, size_bytes - length))
    return file.read(length)


def _inspect_fits(file: BinaryIO, size_bytes: int) -> Inspection:
    """Complete when the file ends exactly where one of its HDUs does and the image's last bytes are not all zero.

    Zeros at the end are what a file of reserved length shows until its writer gets there. An image that is whole has
    its fingerprint even when the padding or what follows it is not: then it will not be reported twice.
    """
    offset, image = 0, b""
    while offset < size_bytes:
        try:
            hdu, header = _read_hdu_at(file, offset, size_bytes)
        except DamagedError:
            return Inspection(Completeness.UNKNOWN, image) if image else INCOMPLETE
        data_start = offset + hdu.data_start
        data_end = data_start + hdu.data_bytes
        padded_end = data_start + -(-hdu.data_bytes // BLOCK) * BLOCK
        if size_bytes < data_end:
            return INCOMPLETE
        if hdu.kind != "other" and not image:
            file.seek(max(data_start, data_end - TAIL))
            tail = file.read(min(TAIL, hdu.data_bytes))
            if not any(tail):
                return UNKNOWN
            image = hashlib.blake2b(header[: hdu.data_start] + tail, digest_size=16).digest()
        if size_bytes == padded_end and image:
            return Inspection(Completeness.COMPLETE, image)
        offset = padded_end
    return Inspection(Completeness.UNKNOWN, image) if image else INCOMPLETE


def _read_hdu_at(file: BinaryIO, offset: int, size_bytes: int) -> tuple[Hdu, bytes]:
    """The HDU at `offset`, its `data_start` counted from there, and the bytes read."""
    length = HEADER_CHUNK
    while True:
        file.seek(offset)
        chunk = file.read(length)
        try:
            return read_hdu(chunk, 0, first=offset == 0), chunk
        except DamagedError:
            if length >= MAX_HEADER or offset + length >= size_bytes:
                raise
            length = MAX_HEADER
