"""All facts of a FITS header together."""

from __future__ import annotations

from polewright.core.sky.weather import PRESSURE_HPA, TEMPERATURE_C
from polewright.services.frame_reader.facts import FrameFacts
from polewright.services.frame_reader.header import Header
from polewright.services.frame_reader.header_optics import read_optics
from polewright.services.frame_reader.header_place import read_pointing, read_site
from polewright.services.frame_reader.header_time import read_time

# The air: no keyword of it is in the standard; in use among camera programs (common practice, no source).
TEMPERATURE_KEYS = ("AMBTEMP", "OUTTEMP", "AIRTEMP")  # of the outside air, never of the sensor
PRESSURE_KEYS = ("PRESSURE", "AIRPRESS", "BAROMETE")


def facts_from_header(header: Header, utc_offset_hours: float | None, shape: tuple[int, ...]) -> FrameFacts:
    """`shape` is that of the image, (..., height, width)."""
    time = read_time(header, utc_offset_hours)
    focal, pixel, scale = read_optics(header)
    instant = time.utc_mid.value if time.utc_mid is not None else None
    site = read_site(header, instant, time.utc_offset_hours)
    pointing = read_pointing(header, shape)
    full = header.first_number(("SATURATE", "SATLEVEL", "MAXLIN", "DATAMAX"), 0.0, 1e9)
    camera = header.text("INSTRUME") or header.text("CAMERA")
    return FrameFacts(
        utc_mid=time.utc_mid,
        exposure_s=time.exposure_s,
        saturation_adu=full.value if full is not None else None,
        focal_length_mm=focal,
        pixel_size_um=pixel,
        scale_arcsec_px=scale,
        site=site,
        pointing=pointing,
        camera=camera[:60] if camera else None,
        temperature_c=header.first_number(TEMPERATURE_KEYS, *TEMPERATURE_C),
        pressure_hpa=header.first_number(PRESSURE_KEYS, *PRESSURE_HPA),
        time_withheld=time.withheld,
        warnings=tuple(header.warnings),
    )
