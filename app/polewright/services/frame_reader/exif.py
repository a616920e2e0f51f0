"""Facts from EXIF (CIPA DC-008): cameras write local time, and rarely say which."""

from __future__ import annotations

import io
import logging
import math
import re
from collections.abc import Mapping
from typing import Any

from polewright.core.errors import UsageError
from polewright.core.model import Site, Sourced, Utc
from polewright.core.sky.timescales import parse_iso
from polewright.core.sky.weather import PRESSURE_HPA, TEMPERATURE_C
from polewright.services.frame_reader.facts import FrameFacts
from polewright.services.frame_reader.header_optics import FOCAL_MM, PIXEL_UM
from polewright.services.frame_reader.header_time import MAX_EXPOSURE_S
from polewright.words import files

UNIT_UM = {2: 25_400.0, 3: 10_000.0}  # FocalPlaneResolutionUnit: inch, centimetre
MOMENT = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", re.ASCII)
SAME_SIZE = 0.05  # raw frames have a few per cent more columns than EXIF says

Tags = Mapping[str, Any]

logging.getLogger("exifread").addHandler(logging.NullHandler())  # its complaints are not for the console


def facts_from_exif(blob: bytes, shape: tuple[int, ...], utc_offset_hours: float | None) -> FrameFacts:
    """Facts of a JPEG, PNG, TIFF or raw file; empty facts, with a warning, when the EXIF block is damaged."""
    import exifread

    if blob.startswith(b"BM") or (blob.startswith(b"\x89PNG") and b"eXIf" not in blob):
        return FrameFacts()
    try:
        tags = exifread.process_file(io.BytesIO(blob), details=False, extract_thumbnail=False)
    except Exception as error:  # a damaged EXIF block raises anything; the pixels may still be good
        return FrameFacts(warnings=(files.exif_unreadable(type(error).__name__),))
    warnings: list[str] = []
    exposure = _exposure(tags)
    moment, withheld = _middle(tags, exposure, utc_offset_hours, warnings)
    return FrameFacts(
        utc_mid=moment,
        exposure_s=exposure,
        focal_length_mm=_within(tags, "EXIF FocalLength", FOCAL_MM),
        pixel_size_um=_pixel_size(tags, max(shape[-2:]), warnings),
        site=_site(tags),
        camera=_text(tags, "Image Model"),
        temperature_c=_within(tags, "EXIF Tag 0x9400", TEMPERATURE_C),  # CIPA DC-008-2019 table 8: ambient situation
        pressure_hpa=_within(tags, "EXIF Tag 0x9402", PRESSURE_HPA),
        time_withheld=withheld,
        warnings=tuple(warnings),
    )


def _text(tags: Tags, name: str) -> str | None:
    tag = tags.get(name)
    if tag is None or not isinstance(tag.values, str):
        return None
    text = "".join(c for c in tag.values if c.isprintable()).strip()
    return text[:60] or None


def _numbers(tags: Tags, name: str) -> list[float]:
    """The tag's numbers (rationals as quotients); empty when there are none."""
    tag = tags.get(name)
    if tag is None or not isinstance(tag.values, (list, tuple)):
        return []
    try:
        numbers = [float(value) for value in tag.values]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return []
    return numbers if all(math.isfinite(n) for n in numbers) else []


def _within(tags: Tags, name: str, limits: tuple[float, float]) -> Sourced[float] | None:
    numbers = _numbers(tags, name)
    if len(numbers) != 1 or not limits[0] <= numbers[0] <= limits[1]:
        return None
    return Sourced(numbers[0], name)


def _exposure(tags: Tags) -> Sourced[float] | None:
    return _within(tags, "EXIF ExposureTime", (0.0, MAX_EXPOSURE_S))


def _middle(
    tags: Tags, exposure: Sourced[float] | None, utc_offset_hours: float | None, warnings: list[str]
) -> tuple[Sourced[Utc] | None, bool]:
    """Mid-exposure from DateTimeOriginal, which marks the opening of the shutter (common practice, no source)."""
    found = MOMENT.fullmatch(_text(tags, "EXIF DateTimeOriginal") or "")
    if found is None:
        return None, False
    fraction = _text(tags, "EXIF SubSecTimeOriginal") or ""
    seconds = f".{fraction}" if fraction.isascii() and fraction.isdigit() else ""
    offset = _text(tags, "EXIF OffsetTimeOriginal") or _text(tags, "EXIF OffsetTime") or ""
    text = f"{found[1]}-{found[2]}-{found[3]}T{found[4]}{seconds[:13]}"
    half = 0.5 * exposure.value if exposure is not None else 0.0
    try:
        stated = parse_iso(text + offset)
        if stated.utc_offset_hours is not None:
            return Sourced(stated.utc.plus_seconds(half), "EXIF DateTimeOriginal and its UTC offset"), False
        if utc_offset_hours is None:
            warnings.append(files.CLOCK_UNSTATED)
            return None, True
        utc = parse_iso(text, utc_offset_hours).utc
    except UsageError as error:
        warnings.append(files.exif_time_ignored(str(error)))
        return None, False
    source = f"EXIF DateTimeOriginal, local time, taken as {utc_offset_hours:+g} h from UTC"
    return Sourced(utc.plus_seconds(half), source), False


def _pixel_size(tags: Tags, longest_px: int, warnings: list[str]) -> Sourced[float] | None:
    """From the focal-plane resolution, scaled when the picture was made smaller after it was taken.

    The longer sides are compared: a picture that was turned upright has as many pixels.
    """
    resolution, unit = _numbers(tags, "EXIF FocalPlaneXResolution"), _numbers(tags, "EXIF FocalPlaneResolutionUnit")
    if len(resolution) != 1 or resolution[0] <= 0.0:
        return None
    size = UNIT_UM.get(int(unit[0]) if unit else 2, 0.0) / resolution[0]
    source = "EXIF FocalPlaneXResolution"
    taken = max((*_numbers(tags, "EXIF ExifImageWidth"), *_numbers(tags, "EXIF ExifImageLength")), default=0.0)
    if taken > 0.0 and abs(taken / longest_px - 1.0) > SAME_SIZE:
        size *= taken / longest_px
        source += f", scaled from {taken:g} to {longest_px} pixels"
    if not PIXEL_UM[0] <= size <= PIXEL_UM[1]:
        warnings.append(files.exif_pixels_ignored(size))
        return None
    return Sourced(size, source)


def _site(tags: Tags) -> Sourced[Site] | None:
    """The place the camera's satellite receiver wrote."""
    angles = []
    for name, limit in (("GPS GPSLatitude", 90.0), ("GPS GPSLongitude", 180.0)):
        parts, letter = _numbers(tags, name), _text(tags, name + "Ref")
        if len(parts) != 3 or letter not in ("N", "S", "E", "W"):
            return None
        angle = parts[0] + parts[1] / 60.0 + parts[2] / 3600.0
        if not 0.0 <= angle <= limit:
            return None
        angles.append(-angle if letter in ("S", "W") else angle)
    if angles == [0.0, 0.0]:
        return None
    height = _numbers(tags, "GPS GPSAltitude")
    sign = -1.0 if _numbers(tags, "GPS GPSAltitudeRef") == [1.0] else 1.0
    elev = sign * height[0] if len(height) == 1 and height[0] < 9000.0 else 0.0
    return Sourced(Site(angles[0], angles[1], max(elev, -500.0)), "EXIF GPS position")
