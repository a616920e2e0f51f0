"""Damaged frame files of every family: a Frame or a FrameReadError comes out, nothing else, whatever the damage.

The default is a few seconds; POLEWRIGHT_FUZZ=100000 sets the number of inputs for a long run.
"""

from __future__ import annotations

import gzip
import io
import os
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from PIL import Image

from polewright.core.errors import FrameReadError
from polewright.core.model import Frame
from polewright.services.frame_reader.reading import frame_from_bytes

INPUTS = int(os.environ.get("POLEWRIGHT_FUZZ", "3000"))
PIXELS = np.random.default_rng(7).integers(0, 4000, (24, 20)).astype(np.uint16)
PEAK_BYTES = 64 << 20  # nothing a damaged 10 kB file may ask for comes near a real frame


def fits_bytes(hdu: fits.PrimaryHDU | fits.CompImageHDU, first: bool = True) -> bytes:
    hdu.header["DATE-OBS"], hdu.header["EXPTIME"], hdu.header["SITELAT"] = "2026-03-01T20:00:00", 2.0, "+47 30 00"
    hdu.header["SITELONG"], hdu.header["RA"], hdu.header["DEC"], hdu.header["XPIXSZ"] = 11.0, 31.0, 46.0, 5.0
    stream = io.BytesIO()
    fits.HDUList([hdu] if first else [fits.PrimaryHDU(), hdu]).writeto(stream)
    return stream.getvalue()


def tiff_bytes(compression: str | None) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, PIXELS, compression=compression)
    return stream.getvalue()


def picture_bytes(kind: str) -> bytes:
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x9003: "2026:03:01 22:15:30", 0x9011: "+02:00"})
    stream = io.BytesIO()
    Image.fromarray((PIXELS >> 4).astype(np.uint8)).save(stream, kind, exif=exif)
    return stream.getvalue()


def dng_bytes() -> bytes:
    extra = [(50706, "B", 4, (1, 4, 0, 0), True), (33421, "H", 2, (2, 2), True), (33422, "B", 4, (0, 1, 1, 2), True)]
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.tile(PIXELS, (2, 2)), photometric="cfa", extratags=extra, metadata=None)
    return stream.getvalue()


SOUND: dict[str, Callable[[], bytes]] = {
    "plain.fits": lambda: fits_bytes(fits.PrimaryHDU(PIXELS)),
    "float.fits": lambda: fits_bytes(fits.PrimaryHDU(PIXELS.astype(np.float32))),
    "rice.fits.fz": lambda: fits_bytes(fits.CompImageHDU(PIXELS), first=False),
    "packed.fits.gz": lambda: gzip.compress(fits_bytes(fits.PrimaryHDU(PIXELS))),
    "plain.tif": lambda: tiff_bytes(None),
    "deflate.tif": lambda: tiff_bytes("zlib"),
    "a.png": lambda: picture_bytes("PNG"),
    "a.jpg": lambda: picture_bytes("JPEG"),
    "a.dng": dng_bytes,
}


def damaged(sound: bytes, rng: np.random.Generator) -> bytes:
    """One of five kinds of damage: cut, flipped bits, a run overwritten, a piece left out, a number in the header."""
    data = bytearray(sound)
    kind = int(rng.integers(5))
    place = int(rng.integers(len(data)))
    if kind == 0:
        del data[place:]
    elif kind == 1:
        for position in rng.integers(0, min(len(data), 4000), int(rng.integers(1, 30))):
            data[int(position)] ^= 1 << int(rng.integers(8))
    elif kind == 2:
        length = int(rng.integers(1, 200))
        data[place : place + length] = rng.integers(0, 256, len(data[place : place + length]), np.uint8).tobytes()
    elif kind == 3:
        del data[place : place + int(rng.integers(1, 500))]
    else:
        digits = [i for i in range(min(len(data), 6000)) if 48 <= data[i] <= 57]
        for position in rng.choice(digits, min(len(digits), 3)) if digits else ():
            data[int(position)] = int(rng.choice(list(b"09-9999.eE ")))
    return bytes(data)


@pytest.mark.parametrize("name", SOUND)
def test_damaged_bytes_give_a_frame_or_one_kind_of_error(name: str) -> None:
    sound = SOUND[name]()
    assert isinstance(frame_from_bytes(name, sound, 1.7e9), Frame)
    rng = np.random.default_rng(sorted(SOUND).index(name))
    refused = 0
    for _ in range(max(1, INPUTS // len(SOUND))):
        try:
            frame = frame_from_bytes(name, damaged(sound, rng), 1.7e9)
        except FrameReadError as error:
            refused += 1
            assert str(error).startswith(name)
        else:
            assert frame.pixels.ndim == 2 and np.isfinite(frame.pixels).all()
    assert refused > 0, "the damage is real"


def test_no_header_makes_the_reader_allocate_what_the_file_does_not_hold() -> None:
    rng = np.random.default_rng(99)
    sounds = {name: make() for name, make in SOUND.items() if name != "a.dng"}  # LibRaw allocates outside Python
    tracemalloc.start()
    try:
        for name, sound in sounds.items():
            for _ in range(20):
                try:
                    frame_from_bytes(name, damaged(sound, rng), 1.7e9)
                except FrameReadError:
                    continue
        assert tracemalloc.get_traced_memory()[1] < PEAK_BYTES
    finally:
        tracemalloc.stop()
