"""The air over a site, as far as somebody has stated it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from polewright.core.model import Atmosphere, Site
from polewright.core.sky.places import SEA_LEVEL_PRESSURE_HPA, standard_atmosphere

TEMPERATURE_C: tuple[float, float] = (-60, 50)  # chosen: nobody observes beyond
# chosen: from the highest roads to the deepest valley in a high
PRESSURE_HPA: tuple[float, float] = (400, 1100)
# chosen: the command line reaches down to the air of the highest summits
SUMMITS_PRESSURE_HPA: tuple[float, float] = (300, 1100)
KELVIN = 283.15  # of the usual air
NIGHTS_K, DAYS_HPA = 8.0, 10.0  # how far a night is from the usual one, one sigma (chosen)
READ_OFF = (
    0.01  # of the refraction: thermometer and barometer tell of the air at the site, not along the light (chosen)
)


@dataclass(frozen=True)
class Weather:
    """Degrees Celsius and hectopascals at the site's height (not reduced to sea level); None where nobody said."""

    temperature_c: float | None = None
    pressure_hpa: float | None = None


def air_at(site: Site, weather: Weather) -> Atmosphere:
    """What refraction is computed with: the usual air of the site, with what is stated in its place."""
    usual = standard_atmosphere(site)
    unknown = [
        NIGHTS_K / KELVIN if weather.temperature_c is None else 0.0,
        DAYS_HPA / SEA_LEVEL_PRESSURE_HPA if weather.pressure_hpa is None else 0.0,
    ]
    return replace(
        usual,
        scale_sigma=math.hypot(READ_OFF, *unknown),
        temperature_c=usual.temperature_c if weather.temperature_c is None else weather.temperature_c,
        pressure_hpa=usual.pressure_hpa if weather.pressure_hpa is None else weather.pressure_hpa,
    )
