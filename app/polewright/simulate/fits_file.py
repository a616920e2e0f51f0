"""Writes FITS images, at once or the way slow camera software does: in pieces, under a passing name.

The format is that of the FITS Standard 4.0 (IAU, 2018): 80-character cards, blocks of 2880 bytes, big-endian numbers,
unsigned 16 bits as BZERO = 32768.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

_BLOCK = 2880

HeaderValue = str | int | float | bool


def fits_bytes(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], header: Mapping[str, tuple[HeaderValue, str]]
) -> bytes:
    """The whole file: `pixels` (height, width) with row 0 first, and header keyword -> (value, comment)."""
    deep = pixels.dtype == np.uint16
    cards = [
        _card("SIMPLE", True, "FITS Standard 4.0"),
        _card("BITPIX", 16 if deep else 8, "bits per pixel"),
        _card("NAXIS", 2, ""),
        _card("NAXIS1", int(pixels.shape[1]), "width"),
        _card("NAXIS2", int(pixels.shape[0]), "height"),
    ]
    if deep:
        cards += [_card("BZERO", 32768, "unsigned numbers"), _card("BSCALE", 1, "")]
    cards += [_card(key, value, comment) for key, (value, comment) in header.items()]
    head = _padded("".join([*cards, f"{'END':<80}"]).encode("ascii"), b" ")
    data = (pixels ^ np.uint16(0x8000)).astype(">u2") if deep else pixels
    return head + _padded(data.tobytes(), b"\0")


def write_at_once(path: Path, data: bytes) -> None:
    """The file appears complete: written under a passing name and renamed into place."""
    passing = path.with_name(f".{path.name}.part")
    passing.write_bytes(data)
    passing.replace(path)


def write_in_pieces(path: Path, data: bytes, pieces: int, passing_name: bool = False) -> Iterator[float]:
    """Write one piece at each step and yield the share written; the caller lets time pass in between.

    The file grows under its own name, or under `NAME.part`, renamed into place in the last step, if `passing_name`.
    """
    target = path.with_name(f"{path.name}.part") if passing_name else path
    edges = np.linspace(0, len(data), max(pieces, 1) + 1).astype(int)
    with target.open("wb") as file:
        for first, last in pairwise(edges):
            file.write(data[first:last])
            file.flush()
            if last < len(data):
                yield float(last / len(data))
    if passing_name:
        target.replace(path)
    yield 1.0


def _padded(data: bytes, fill: bytes) -> bytes:
    return data + fill * (-len(data) % _BLOCK)


def _card(key: str, value: HeaderValue, comment: str) -> str:
    if isinstance(value, bool):
        text = f"{'T' if value else 'F':>20}"
    elif isinstance(value, str):
        quoted = value.replace("'", "''")
        text = f"'{quoted:<8}'"
    elif isinstance(value, int):
        text = f"{value:>20d}"
    else:
        text = f"{float(value)!r:>20}".upper()
    return f"{key:<8}= {text}{' / ' + comment if comment else ''}"[:80].ljust(80)
