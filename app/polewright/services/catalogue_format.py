"""The layout of star-catalogue.fits: a standard FITS file of four binary tables, read and written without a library.

CELLS   one row per cell of core/sky/cells.py: STARS stars in it, the first MOVING of which have a motion of their
        own; MX, MY, MZ is the mean proper motion of the neighbourhood (mas/yr along ICRS x, y, z), which stands in
        for the motion of the others.
STARS   cell by cell, in each part brightest first: U, V is the place within the cell in 1/65536 of its width along u
        and v (half a step in); MAG is a row number of LEVELS.
MOTION  for the moving stars in the same order: PMRA (times cos dec) and PMDEC, mas/yr.
LEVELS  magnitudes (Gaia G) that the MAG numbers stand for.

Every number is big-endian, as FITS demands; U and V are unsigned by the usual TZERO = 32768.
Reading our own fixed layout this way takes 0.2 s less than importing a FITS library; tests compare with astropy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FORMAT_VERSION = 1
FILE_NAME = "star-catalogue.fits"
CHECKSUM_NAME = "star-catalogue.fits.sha256"

CELLS_ROW = np.dtype([("STARS", ">i2"), ("MOVING", ">i2"), ("MX", ">i2"), ("MY", ">i2"), ("MZ", ">i2")])
STARS_ROW = np.dtype([("U", ">i2"), ("V", ">i2"), ("MAG", "u1")])
MOTION_ROW = np.dtype([("PMRA", ">i2"), ("PMDEC", ">i2")])
LEVELS_ROW = np.dtype([("MAGNITUDE", ">f4")])
TABLES = {"CELLS": CELLS_ROW, "STARS": STARS_ROW, "MOTION": MOTION_ROW, "LEVELS": LEVELS_ROW}
UNITS = {"PMRA": "mas/yr", "PMDEC": "mas/yr", "MX": "mas/yr", "MY": "mas/yr", "MZ": "mas/yr", "MAGNITUDE": "mag"}
UNSIGNED = {"U", "V"}

_BLOCK = 2880  # FITS Standard 4.0, section 3.1
_CARD = 80  # FITS Standard 4.0, section 3.3.1: characters of a header record
_FITS_TYPE = {">i2": "I", "|u1": "B", ">f4": "E"}


@dataclass(frozen=True, eq=False)
class CatalogueTables:
    """The tables of the file as structured arrays, and the Julian epoch (year) of the positions."""

    epoch_year: float
    cells: NDArray[np.void]
    stars: NDArray[np.void]
    motion: NDArray[np.void]
    levels: NDArray[np.void]


def encode(tables: CatalogueTables, comments: tuple[str, ...]) -> bytes:
    """The whole file. `comments` (at most 72 characters each) go into the primary header."""
    cards = [_card("SIMPLE", True), _card("BITPIX", 8), _card("NAXIS", 0), _card("EXTEND", True)]
    cards += [_card("FORMAT", FORMAT_VERSION), _card("EPOCH", tables.epoch_year)]
    cards += [f"COMMENT {line}" for line in comments]
    parts = [_header(cards)]
    for name, rows in zip(TABLES, (tables.cells, tables.stars, tables.motion, tables.levels)):
        parts += [_table_header(name, rows), _padded(rows.tobytes(), b"\0")]
    return b"".join(parts)


def decode(data: bytes) -> CatalogueTables:
    """The tables of a file made by `encode`. ValueError says what does not fit."""
    primary, offset = _read_header(data, 0)
    if primary.get("FORMAT") != str(FORMAT_VERSION):
        raise ValueError(f"format {primary.get('FORMAT', 'unknown')} instead of {FORMAT_VERSION}")
    found: dict[str, NDArray[np.void]] = {}
    for name, row in TABLES.items():
        header, offset = _read_header(data, offset)
        if header.get("EXTNAME") != name or header.get("NAXIS1") != str(row.itemsize):
            raise ValueError(f"table {name} is not where it should be")
        count = int(header["NAXIS2"])
        if offset + count * row.itemsize > len(data):
            raise ValueError(f"table {name} is cut short")
        found[name] = np.frombuffer(data, dtype=row, count=count, offset=offset)
        offset += -(-count * row.itemsize // _BLOCK) * _BLOCK
    return CatalogueTables(float(primary["EPOCH"]), found["CELLS"], found["STARS"], found["MOTION"], found["LEVELS"])


def _card(key: str, value: bool | int | float | str) -> str:
    if isinstance(value, bool):
        text = f"{'T' if value else 'F':>20}"
    elif isinstance(value, str):
        text = f"'{value:<8}'"
    else:
        text = f"{value:>20}"
    return f"{key:<8}= {text}"


def _table_header(name: str, rows: NDArray[np.void]) -> bytes:
    fields = rows.dtype.names or ()
    cards = [_card("XTENSION", "BINTABLE"), _card("BITPIX", 8), _card("NAXIS", 2)]
    cards += [
        _card("NAXIS1", rows.dtype.itemsize),
        _card("NAXIS2", rows.size),
        _card("PCOUNT", 0),
        _card("GCOUNT", 1),
    ]
    cards += [_card("TFIELDS", len(fields)), _card("EXTNAME", name)]
    for i, column in enumerate(fields, start=1):
        cards += [_card(f"TTYPE{i}", column), _card(f"TFORM{i}", "1" + _FITS_TYPE[rows.dtype[column].str])]
        if column in UNITS:
            cards.append(_card(f"TUNIT{i}", UNITS[column]))
        if column in UNSIGNED:
            cards += [_card(f"TSCAL{i}", 1), _card(f"TZERO{i}", 32768)]
    return _header(cards)


def _header(cards: list[str]) -> bytes:
    for card in cards:
        if len(card) > _CARD:
            raise ValueError(f"header card too long: {card}")
    return _padded("".join(f"{card:<{_CARD}}" for card in [*cards, "END"]).encode("ascii"), b" ")


def _padded(data: bytes, filler: bytes) -> bytes:
    return data + filler * (-len(data) % _BLOCK)


def _read_header(data: bytes, offset: int) -> tuple[dict[str, str], int]:
    """Keyword values as text, and where the data begin."""
    values: dict[str, str] = {}
    for start in range(offset, len(data) - _CARD + 1, _CARD):
        card = data[start : start + _CARD].decode("ascii")
        if card[:8] == "END     ":
            return values, offset + -(-(start + _CARD - offset) // _BLOCK) * _BLOCK
        if card[8:10] == "= ":
            values[card[:8].strip()] = card[10:].strip().strip("'").strip()
    raise ValueError("a header has no end")
