"""FITS images: the array of an image HDU, the first unless another is asked for, as a raster, top row first."""

from __future__ import annotations

import bz2
import gzip
import io
import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.services.frame_reader.compressed_fits import decompress_tiles
from polewright.services.frame_reader.facts import (
    MAX_BYTES,
    DamagedError,
    FrameFacts,
    NotPlainError,
    Raster,
    check_claim,
)
from polewright.services.frame_reader.fits_structure import Hdu, images_of
from polewright.services.frame_reader.header import Header
from polewright.services.frame_reader.header_facts import facts_from_header
from polewright.words import files

FITS_START = b"SIMPLE  ="
RAW_TYPES = {8: ">u1", 16: ">i2", 32: ">i4", 64: ">i8", -32: ">f4", -64: ">f8"}
UNSIGNED_ZERO = {16: 2**15, 32: 2**31}  # BZERO of unsigned integers (standard, 4.4.2.5)
FULL_ADU = {8: 255.0, 16: 32767.0, 32: None, 64: None, -32: None, -64: None}
MOSAIC = re.compile(r"[RGB]{4}", re.IGNORECASE)  # common practice, no source
FIRST_BYTES = 16 << 20  # unpacked before it is asked whether there is anything in it
EMPTY_RATIO = 100  # a frame with the least noise packs by 20 at most (measured), one of zeros by 1000
MAX_DEFLATE_RATIO = 1032  # of the deflate format (RFC 1951: 258 bytes from 2 bits)


def read_fits(
    blob: bytes, utc_offset_hours: float | None, image: int = 1, *, plain: bool = False
) -> tuple[Raster, FrameFacts]:
    """Pixels and facts of one image of a FITS file, counted from 1 (the first where there are not so many);
    DamagedError when it is none, NotPlainError for tiles where `plain`."""
    images = images_of(blob)
    number = image if image <= len(images) else 1
    hdu, header = images[number - 1]
    if hdu.kind == "tiles":
        if plain:
            raise NotPlainError
        samples, full = decompress_tiles(blob, hdu)
        samples = _top_first(samples, header)
    else:
        samples, full = _plain_samples(blob, hdu, header)
    planes, warnings = _as_planes(samples)
    mosaic = planes.ndim == 2 and any(MOSAIC.fullmatch(header.text(key) or "") for key in ("BAYERPAT", "COLORTYP"))
    if len(images) > 1:
        warnings = (*warnings, files.image_used(number, len(images), hdu.header.text("EXTNAME")))
    raster = Raster(planes, full, mosaic, warnings, len(images))
    return raster, facts_from_header(header, utc_offset_hours, planes.shape)


def read_gzipped_fits(blob: bytes, utc_offset_hours: float | None, image: int = 1) -> tuple[Raster, FrameFacts]:
    """The same of a FITS file within a gzip file."""
    content = unpack_gzip(blob)
    if not content.startswith(FITS_START):
        raise DamagedError("its contents are not a FITS file")
    return read_fits(content, utc_offset_hours, image)


def read_bzipped_fits(blob: bytes, utc_offset_hours: float | None, image: int = 1) -> tuple[Raster, FrameFacts]:
    """The same of a FITS file within a bzip2 file."""
    unpacker = bz2.BZ2Decompressor()
    content = unpacker.decompress(blob, MAX_BYTES)
    if not unpacker.eof:
        raise DamagedError("it ends too early, or unpacks to more than any camera delivers")
    if not content.startswith(FITS_START):
        raise DamagedError("its contents are not a FITS file")
    return read_fits(content, utc_offset_hours, image)


def unpack_gzip(blob: bytes) -> bytes:
    """The content of a gzip file; DamagedError when it would be larger than any frame."""
    limit = min(MAX_BYTES, MAX_DEFLATE_RATIO * len(blob)) + (1 << 20)
    stream = io.BytesIO(blob)
    with gzip.GzipFile(fileobj=stream) as packed:
        content = packed.read(min(limit + 1, FIRST_BYTES))
        if len(content) == FIRST_BYTES:
            if EMPTY_RATIO * stream.tell() < FIRST_BYTES:
                raise DamagedError("it is empty: it unpacks to a long run of one value")
            content += packed.read(limit + 1 - FIRST_BYTES)
    if len(content) > limit:
        raise DamagedError("it unpacks to more than any camera delivers")
    return content


def _top_first(stored: NDArray[Any], header: Header) -> NDArray[Any]:
    """The array with the top row of the picture first: row 1 of FITS is at the bottom (standard, 3.3.2)."""
    if header.text("ROWORDER") == "TOP-DOWN":
        return stored
    channels_last = stored.ndim == 3 and stored.shape[0] != 3 and stored.shape[2] in (3, 4)
    return np.flip(stored, -3 if channels_last else -2)


def _plain_samples(blob: bytes, hdu: Hdu, header: Header) -> tuple[NDArray[Any], float | None]:
    """The stored array (copied out of `blob` in native byte order) and the largest value its type can hold."""
    bitpix = hdu.header.integer("BITPIX", 0)
    shape = tuple(n for n in hdu.shape if n != 1)
    _check_shape(shape, abs(bitpix) // 8)
    stored = np.frombuffer(blob, RAW_TYPES[bitpix], int(np.prod(shape)), hdu.data_start).reshape(shape)
    stored = _top_first(stored, header)
    zero, scale = _scaling(hdu.header)
    holes = stored == hdu.header.integer("BLANK", 0) if bitpix > 0 and "BLANK" in hdu.header else None
    if scale == 1.0 and zero == UNSIGNED_ZERO.get(bitpix):
        unsigned = stored.view(f">u{bitpix // 8}").astype(f"=u{bitpix // 8}", order="C")
        unsigned ^= unsigned.dtype.type(zero)
        samples: NDArray[Any] = unsigned
        full: float | None = 65535.0 if bitpix == 16 else None
    elif scale == 1.0 and zero == 0.0:
        samples, full = stored.astype(stored.dtype.newbyteorder("="), order="C"), FULL_ADU[bitpix]
    else:
        samples = (stored.astype(np.float64) * scale + zero).astype(np.float32)
        limit = FULL_ADU[bitpix]
        full = limit * scale + zero if limit is not None and scale > 0.0 else None
    if holes is not None and holes.any():
        samples = samples.astype(np.float32)
        samples[holes] = np.nan
    return samples, full


def _scaling(header: Header) -> tuple[float, float]:
    """(BZERO, BSCALE); 0 and 1 where they are missing or make no sense."""
    zero = header.number("BZERO", -1e30, 1e30)
    scale = header.number("BSCALE", -1e30, 1e30)
    return (zero if zero is not None else 0.0), (scale if scale else 1.0)


def _check_shape(shape: tuple[int, ...], bytes_per_sample: int) -> None:
    if len(shape) not in (2, 3):
        raise DamagedError(f"its image has {len(shape)} axes, two or three are needed")
    if len(shape) == 3 and shape[2] in (3, 4):
        check_claim(shape[1], shape[0], shape[2], bytes_per_sample)
    else:
        check_claim(shape[-1], shape[-2], shape[0] if len(shape) == 3 else 1, bytes_per_sample)


def _as_planes(samples: NDArray[Any]) -> tuple[NDArray[Any], tuple[str, ...]]:
    """(height, width) or (3, height, width), from either order of colour axes; of a stack the first frame."""
    if samples.ndim > 3:
        samples = samples.squeeze()
    _check_shape(samples.shape, samples.itemsize)
    if samples.ndim == 2 or samples.shape[0] == 3:
        return samples, ()
    if samples.shape[2] in (3, 4):
        return np.moveaxis(samples[..., :3], 2, 0), ()
    return samples[0], (files.first_of_stack(samples.shape[0]),)
