"""Frame files made to harm whoever reads them: they loop, allocate, or abort in the libraries that unpack them."""

from __future__ import annotations

import gzip
import io

import numpy as np
from astropy.io import fits

PIXELS = np.random.default_rng(7).integers(0, 4000, (24, 20)).astype(np.int16)


def compressed(method: str = "RICE_1") -> bytes:
    """An honest tile-compressed FITS file."""
    stream = io.BytesIO()
    fits.HDUList([fits.PrimaryHDU(), fits.CompImageHDU(PIXELS, compression_type=method)]).writeto(stream)
    return stream.getvalue()


def with_card(file: bytes, keyword: str, value: object) -> bytes:
    """The same file with another value in a card that it has, or in the place of a comment."""
    card = f"{keyword:<8}= {value!s:>20}".ljust(80).encode("ascii")
    place = file.rfind(f"{keyword:<8}= ".encode("ascii"))
    assert place > 0, f"{keyword} is not in the file"
    return file[:place] + card + file[place + 80 :]


def zeros_in_gzip() -> bytes:
    """Four megabytes that unpack to a gigabyte of nothing."""
    header = fits.PrimaryHDU(np.zeros((1, 1), np.uint16)).header
    header["NAXIS1"], header["NAXIS2"] = 30_000, 16_000
    return gzip.compress(header.tostring().encode("ascii") + bytes(960_000_000), 1)
