"""The kinds of frame files, one row each: their names, their first and last bytes, and who reads them.

Reader, watcher and folder page all look here: a new format is a row, and the file of its reader.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import PurePath

from polewright.services.frame_reader.facts import FrameFacts, Raster
from polewright.services.frame_reader.picture import read_picture
from polewright.services.frame_reader.plain_fits import (
    FITS_START,
    read_bzipped_fits,
    read_fits,
    read_gzipped_fits,
)
from polewright.services.frame_reader.raw_photo import read_raw_photo
from polewright.services.frame_reader.tiff import read_tiff

Read = Callable[[bytes, float | None, int], tuple[Raster, FrameFacts]]
"""The bytes, how far the camera's clock is ahead of UTC in hours, and which image is wanted of a file of several."""


@dataclass(frozen=True)
class Family:
    """`suffixes` are lower case. `starts`: the first bytes; none where the name alone tells (raw files pose as TIFF).

    `end`: the last bytes of a finished file, where the format has such; `last`: and nothing ever follows them.
    `bare` reads a file whose bytes no library has to unpack, NotPlainError for any other; None where one always has.
    """

    suffixes: frozenset[str]
    read: Read
    starts: tuple[bytes, ...] = ()
    end: bytes = b""
    last: bool = False
    bare: Read | None = None


RAW = Family(
    frozenset({".dng", ".cr2", ".cr3", ".nef", ".arw", ".orf", ".rw2", ".raf", ".pef", ".srw"}), read_raw_photo
)
FITS = Family(
    frozenset({".fits", ".fit", ".fts", ".fz"}), read_fits, (FITS_START,), bare=partial(read_fits, plain=True)
)
GZIPPED_FITS = Family(frozenset({f"{suffix}.gz" for suffix in FITS.suffixes}), read_gzipped_fits, (b"\x1f\x8b",))
BZIPPED_FITS = Family(frozenset({f"{suffix}.bz2" for suffix in FITS.suffixes}), read_bzipped_fits, (b"BZh",))
TIFF = Family(frozenset({".tif", ".tiff"}), read_tiff, (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"))
PNG = Family(frozenset({".png"}), read_picture, (b"\x89PNG\r\n\x1a\n",), b"\0\0\0\0IEND\xaeB`\x82", last=True)
JPEG = Family(frozenset({".jpg", ".jpeg"}), read_picture, (b"\xff\xd8\xff",), b"\xff\xd9")
BMP = Family(frozenset({".bmp"}), read_picture, (b"BM",))
FAMILIES = (RAW, FITS, GZIPPED_FITS, BZIPPED_FITS, TIFF, PNG, JPEG, BMP)

NAMED_SUFFIXES = frozenset({".heic", ".heif", ".avif", ".webp"})
"""Of pictures that are not read. They are watched for all the same: the reader says what they are, where a folder of
nothing else would seem to be empty."""

FRAME_SUFFIXES = NAMED_SUFFIXES.union(*(family.suffixes for family in FAMILIES))
"""Lower-case endings of the names of frame files."""


def is_frame_name(name: str) -> bool:
    """Whether a file of this name can be a frame: a known ending, neither hidden nor a partial download."""
    lower = name.lower()
    return not lower.startswith(".") and lower.endswith(tuple(FRAME_SUFFIXES))


def family_of(name: str, blob: bytes) -> Family | None:
    """The family of readers for these bytes; None when they are nothing known."""
    if PurePath(name).suffix.lower() in RAW.suffixes:
        return RAW
    return next((family for family in FAMILIES if family.starts and blob.startswith(family.starts)), None)


OTHER_KINDS: tuple[tuple[int, bytes, str], ...] = (  # place, bytes, what it is
    (4, b"ftyphe", "a HEIC picture"),
    (4, b"ftypmif1", "a HEIC picture"),
    (4, b"ftypavif", "an AVIF picture"),
    (4, b"ftyp", "a film"),
    (8, b"AVI ", "a film"),
    (8, b"WEBP", "a WebP picture"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"%PDF", "a PDF document"),
    (0, b"PK\x03\x04", "a zip archive"),
)


def other_kind(blob: bytes) -> str | None:
    """What a file is that is whole, but of a kind that is not read; None where nobody knows."""
    return next((what for at, mark, what in OTHER_KINDS if blob[at:].startswith(mark)), None)
