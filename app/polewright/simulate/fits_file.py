"""Writes FITS images: complete at once, under a passing name first."""

from __future__ import annotations

import io
from collections.abc import Mapping
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
    try:
        passing.write_bytes(data)
        passing.replace(path)
    except OSError:
        passing.unlink(missing_ok=True)
        raise
