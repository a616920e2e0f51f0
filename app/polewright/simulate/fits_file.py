"""Writes FITS images, at once or the way slow camera software does: in pieces, under a passing name."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HeaderValue = str | int | float | bool


def fits_bytes(
    pixels: NDArray[np.uint8] | NDArray[np.uint16], header: Mapping[str, tuple[HeaderValue, str]]
) -> bytes:
    """The whole file: `pixels` (height, width) with row 0 first, and header keyword -> (value, comment)."""
    from astropy.io import fits

    hdu = fits.PrimaryHDU(pixels)
    hdu.header.update(header)
    file = io.BytesIO()
    hdu.writeto(file)
    return file.getvalue()


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
