"""Tile-compressed FITS images (.fz), unpacked by astropy."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.services.frame_reader.facts import DamagedError, check_claim
from polewright.services.frame_reader.fits_structure import BLOCK, Hdu
from polewright.services.frame_reader.header import Header

STRUCTURE = re.compile(
    r"XTENSION|BITPIX|NAXIS[12]?|PCOUNT|GCOUNT|TFIELDS|T(TYPE|FORM|UNIT|NULL|SCAL|ZERO|DIM)\d+|THEAP"
    r"|Z(IMAGE|TILE\d+|NAXIS\d*|BITPIX|CMPTYPE|NAME\d+|VAL\d+|QUANTIZ|DITHER0|SCALE|ZERO|BLANK|MASKCMP)|BZERO|BSCALE|BLANK",
    re.ASCII,
)
METHODS = ("RICE_1", "RICE_ONE", "GZIP_1", "GZIP_2", "PLIO_1", "HCOMPRESS_1", "NOCOMPRESS")
MOST_FIELDS, MOST_PARAMETERS = 999, 20  # columns of a table (standard, 7.3.1); parameters of a method
DESCRIPTOR_BYTES = 8  # the least that says where a tile lies (standard, 7.3.5)
SENSELESS = "the header of its compressed image makes no sense"
MAX_RATIO = 10_000  # an empty frame packs by about 500 (measured); more is a lie


def decompress_tiles(blob: bytes, hdu: Hdu) -> tuple[NDArray[Any], float | None]:
    """The image of a compressed HDU in native byte order, and the largest value its type can hold.

    astropy sees the structural cards alone, so that nothing else in the header can trouble it.
    """
    _check_tiles(hdu)
    samples = _unpack(_minimal_file(blob, hdu))
    full = {"uint8": 255.0, "int16": 32767.0, "uint16": 65535.0}.get(samples.dtype.name)
    return np.ascontiguousarray(samples, dtype=samples.dtype.newbyteorder("=")), full


def _check_tiles(hdu: Hdu) -> None:
    """DamagedError when the header of the compressed image makes no sense (standard, 10.1): astropy loops over what
    it claims, and the library below it believes everything."""
    header = hdu.header
    dimensions, fields = header.integer("ZNAXIS", 0), header.integer("TFIELDS", 0)
    bytes_per_sample = abs(header.integer("ZBITPIX", 0)) // 8
    if dimensions not in (2, 3) or bytes_per_sample not in (1, 2, 4, 8) or not 1 <= fields <= MOST_FIELDS:
        raise DamagedError(SENSELESS)
    axes = [header.integer(f"ZNAXIS{i}", -1) for i in range(1, dimensions + 1)]
    tile = [header.integer(f"ZTILE{i}", axes[0] if i == 1 else 1) for i in range(1, dimensions + 1)]
    check_claim(axes[0], axes[1], math.prod(axes[2:]), bytes_per_sample)
    if math.prod(axes) * bytes_per_sample > MAX_RATIO * hdu.data_bytes:
        raise DamagedError("its compressed image claims to be larger than its data can hold")
    if not all(1 <= side <= axis for side, axis in zip(tile, axes, strict=True)):
        raise DamagedError(f"the tiles of its compressed image are {' x '.join(map(str, tile))} pixels")
    if len(hdu.shape) != 2 or hdu.shape[0] != math.prod(-(-axis // side) for axis, side in zip(axes, tile)):
        raise DamagedError("its compressed image has another number of tiles than its size asks for")
    if hdu.shape[1] < DESCRIPTOR_BYTES or header.text("ZCMPTYPE") not in METHODS or not _sane_parameters(header):
        raise DamagedError(SENSELESS)


def _sane_parameters(header: Header) -> bool:
    """What the method is told (standard, table 37): bytes a sample, and the block of RICE."""
    told = {header.text(f"ZNAME{i}"): header.integer(f"ZVAL{i}", 0) for i in range(1, MOST_PARAMETERS + 1)}
    return told.get("BYTEPIX", 4) in (1, 2, 4, 8) and told.get("BLOCKSIZE", 32) in (16, 32)


def _minimal_file(blob: bytes, hdu: Hdu) -> bytes:
    """An empty primary HDU and the compressed HDU with its structural cards only."""
    from astropy.io import fits

    cards = fits.Header()
    for name in structural_names(hdu.header):
        cards[name] = hdu.header.raw(name)
    data = blob[hdu.data_start : hdu.data_start + hdu.data_bytes]
    headers: str = fits.PrimaryHDU().header.tostring() + cards.tostring()
    return headers.encode("ascii") + data + bytes(-len(data) % BLOCK)


def structural_names(header: Header) -> list[str]:
    """The keywords that describe the compressed table, in file order."""
    return [name for name in header.names() if STRUCTURE.fullmatch(name)]


def _unpack(file: bytes) -> NDArray[Any]:
    from astropy.io import fits

    with fits.open(io.BytesIO(file), memmap=False) as hdus:
        samples = hdus[1].data
    if not isinstance(samples, np.ndarray):
        raise DamagedError("its compressed image could not be unpacked")
    return samples
