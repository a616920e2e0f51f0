"""The air at the telescope, where a FITS header states it: no keyword of it is in the standard."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.core.model import Sourced
from polewright.core.sky.weather import PRESSURE_HPA, TEMPERATURE_C
from polewright.services.frame_reader.header import Header

# of the outside air, never of the sensor; in use among camera programs (common practice, no source)
TEMPERATURE_KEYS = ("AMBTEMP", "OUTTEMP", "AIRTEMP")
PRESSURE_KEYS = ("PRESSURE", "AIRPRESS", "BAROMETE")


@dataclass(frozen=True)
class HeaderWeather:
    """Degrees Celsius and hectopascals, None where nothing is said."""

    temperature_c: Sourced[float] | None
    pressure_hpa: Sourced[float] | None


def read_weather(header: Header) -> HeaderWeather:
    """What the header says about the air."""
    return HeaderWeather(
        header.first_number(TEMPERATURE_KEYS, *TEMPERATURE_C), header.first_number(PRESSURE_KEYS, *PRESSURE_HPA)
    )
