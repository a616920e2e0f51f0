"""PNG, JPEG and BMP pictures, read by Pillow.

An orientation mark is not applied: the camera sets it by gravity, and it may change while the mount turns.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from polewright.services.frame_reader.exif import facts_from_exif
from polewright.services.frame_reader.facts import DamagedError, FrameFacts, Raster, check_claim
from polewright.words import files

FULL_ADU = {"uint8": 255.0, "uint16": 65535.0}
PNG_MAGIC = b"\x89PNG\r\n\x1a\n"
PLAIN_MODE = {"1": "L", "P": "RGB", "PA": "RGB", "CMYK": "RGB", "YCbCr": "RGB", "LAB": "RGB", "HSV": "RGB"}
FORMATS = ("PNG", "JPEG", "TIFF", "BMP")


def read_picture(blob: bytes, utc_offset_hours: float | None, _image: int = 1) -> tuple[Raster, FrameFacts]:
    """Pixels and facts of a picture file."""
    from PIL import Image

    with Image.open(io.BytesIO(blob), formats=FORMATS) as image:
        check_claim(*image.size, planes=len(image.getbands()), bytes_per_sample=1)
        mode = PLAIN_MODE.get(image.mode)
        samples: Any = np.asarray(image.convert(mode) if mode else image)
    if samples.ndim == 3:
        samples = samples[..., 0] if samples.shape[2] == 2 else np.moveaxis(samples[..., :3], 2, 0)
    if samples.ndim not in (2, 3):
        raise DamagedError(f"its image has the shape {samples.shape}, which is not a picture")
    warnings: tuple[str, ...] = ()
    if blob.startswith(PNG_MAGIC) and len(blob) > 25 and blob[24] == 16 and blob[25] in (2, 6):
        warnings = (files.EIGHT_BITS,)
    full = FULL_ADU.get(samples.dtype.name)
    return Raster(samples, full, False, warnings), facts_from_exif(blob, samples.shape, utc_offset_hours)
