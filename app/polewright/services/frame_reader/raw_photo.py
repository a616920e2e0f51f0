"""Raw files of photographic cameras, opened by LibRaw (rawpy): the sensor's own numbers, not developed."""

from __future__ import annotations

import io

import numpy as np

from polewright.services.frame_reader.exif import facts_from_exif
from polewright.services.frame_reader.facts import DamagedError, FrameFacts, Raster, check_claim


def read_raw_photo(blob: bytes, utc_offset_hours: float | None, _image: int = 1) -> tuple[Raster, FrameFacts]:
    """The visible part of the sensor as a colour mosaic (or as planes), unrotated, black level left in."""
    import rawpy

    with rawpy.imread(io.BytesIO(blob)) as raw:
        sizes = raw.sizes
        check_claim(sizes.raw_width, sizes.raw_height, 1, 2)
        samples = np.array(raw.raw_image_visible)  # a copy: the original dies with `raw`
        mosaic = raw.raw_type == rawpy.RawType.Flat and raw.num_colors > 1
        white = raw.white_level
    if samples.ndim == 3:
        samples = np.moveaxis(samples[..., :3], 2, 0)
    if samples.ndim not in (2, 3):
        raise DamagedError("LibRaw finds no picture in it")
    full = float(white) if white else None
    return Raster(samples, full, mosaic), facts_from_exif(blob, samples.shape, utc_offset_hours)
