"""TIFF images, read by tifffile; what it cannot unpack is tried with Pillow."""

from __future__ import annotations

import io
import logging
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polewright.services.frame_reader.exif import facts_from_exif
from polewright.services.frame_reader.facts import DamagedError, FrameFacts, Raster, check_claim
from polewright.services.frame_reader.picture import read_picture

MAX_RATIO = 1100  # of deflate, the most efficient of TIFF's compressions on an empty frame
PHOTOMETRIC_INVERTED, PHOTOMETRIC_MOSAIC = 0, 32803  # TIFF 6.0, section 8; TIFF/EP (ISO 12234-2)
KNOWN_PHOTOMETRIC = (PHOTOMETRIC_INVERTED, 1, 2, PHOTOMETRIC_MOSAIC)  # 1 black is zero, 2 RGB
# none, deflate (two numbers), packbits, LZMA: what tifffile unpacks without further libraries
PLAIN_COMPRESSIONS = (1, 8, 32946, 32773, 34925)

logging.getLogger("tifffile").addHandler(logging.NullHandler())  # its complaints are not for the console


def read_tiff(blob: bytes, utc_offset_hours: float | None, _image: int = 1) -> tuple[Raster, FrameFacts]:
    """Pixels and facts of the first full-size page."""
    import tifffile

    with tifffile.TiffFile(io.BytesIO(blob)) as file:
        page = _full_size_page(file)
        if page.photometric not in KNOWN_PHOTOMETRIC or page.compression not in PLAIN_COMPRESSIONS:
            return read_picture(blob, utc_offset_hours)
        _check_page(page, len(blob))
        samples = np.asarray(page.asarray())
        mosaic, inverted = page.photometric == PHOTOMETRIC_MOSAIC, page.photometric == PHOTOMETRIC_INVERTED
    planes = _as_planes(samples)
    if planes.dtype.kind not in "uif":
        raise DamagedError(f"its pixels are of a kind ({planes.dtype}) that does not measure brightness")
    if inverted and planes.dtype.kind == "u":
        planes = np.iinfo(planes.dtype).max - planes
    full = float(np.iinfo(planes.dtype).max) if planes.dtype in (np.uint8, np.uint16) else None
    return Raster(planes, full, mosaic), facts_from_exif(blob, planes.shape, utc_offset_hours)


def _full_size_page(file: Any) -> Any:
    """The first page that is not marked as a reduced picture."""
    for index in range(min(len(file.pages), 8)):
        page = file.pages[index]
        if not page.is_reduced:
            return page
    raise DamagedError("it holds no full-size picture")


def _check_page(page: Any, present: int) -> None:
    """DamagedError when the page claims more than the file can hold; nothing has been allocated yet."""
    if page.dtype is None or page.imagedepth != 1:
        raise DamagedError("its pixels are of a kind that does not measure brightness")
    check_claim(page.imagewidth, page.imagelength, page.samplesperpixel, page.dtype.itemsize)
    ends = [start + count for start, count in zip(page.dataoffsets, page.databytecounts)]
    if not ends or max(ends) > present:
        raise DamagedError(f"its header promises {max(ends, default=0)} bytes, but only {present} are there")
    stored = sum(page.databytecounts)
    claimed = page.imagewidth * page.imagelength * page.samplesperpixel * page.bitspersample / 8
    if claimed > stored * (1 if page.compression == 1 else MAX_RATIO) + 8:
        raise DamagedError("its header claims more pixels than its data can hold")


def _as_planes(samples: NDArray[Any]) -> NDArray[Any]:
    """(height, width) or (3, height, width); an alpha channel is left out."""
    samples = samples.squeeze()
    if samples.ndim == 2:
        return samples
    if samples.ndim == 3 and samples.shape[2] in (2, 3, 4):
        return samples[..., 0] if samples.shape[2] == 2 else np.moveaxis(samples[..., :3], 2, 0)
    if samples.ndim == 3 and samples.shape[0] in (2, 3, 4):
        return samples[0] if samples.shape[0] == 2 else samples[:3]
    raise DamagedError(f"its image has the shape {samples.shape}, which is not a picture")
