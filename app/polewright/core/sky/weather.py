"""The air over a site, as far as somebody has stated it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from polewright.core.model import Atmosphere, Site, Utc
from polewright.core.sky.places import SEA_LEVEL_PRESSURE_HPA, hemisphere_sign, standard_atmosphere
from polewright.core.sky.timescales import julian_epoch_year

TEMPERATURE_C: tuple[float, float] = (-60, 50)  # chosen: nobody observes beyond
# chosen: from the highest roads to the deepest valley in a high
PRESSURE_HPA: tuple[float, float] = (400, 1100)
# chosen: the command line reaches down to the air of the highest summits
SUMMITS_PRESSURE_HPA: tuple[float, float] = (300, 1100)
KELVIN = 273.15  # of 0 C
# latitude (deg), mean of the year (C) and half of what July and January differ by (K), north and south alike: the
# model atmospheres of Anderson et al., AFGL-TR-86-0110 (1986), at sea level (from memory)
SEASON_LATITUDE_DEG, SEASON_MEAN_C, SEASON_SWING_K = (15.0, 45.0, 60.0), (26.5, 10.0, -1.0), (0.0, 11.0, 15.0)
WARMEST = 0.55  # of the year, northern: a month after the solstice (common practice, no source)
COOLER_K_M = 0.0065  # with height: ISO 2533:1975
NIGHTS_K, DAYS_HPA = 8.0, 10.0  # how far a night is from the usual one of its season, one sigma (chosen)
READ_OFF = (
    0.01  # of the refraction: thermometer and barometer tell of the air at the site, not along the light (chosen)
)


@dataclass(frozen=True)
class Weather:
    """Degrees Celsius and hectopascals at the site's height (not reduced to sea level); None where nobody said."""

    temperature_c: float | None = None
    pressure_hpa: float | None = None


def air_at(site: Site, weather: Weather, utc: Utc | None = None) -> Atmosphere:
    """What refraction is computed with: the usual air of site and season, with what is stated in its place.

    Without a date (`utc`) the usual temperature is that of a mild night.
    """
    usual = standard_atmosphere(site)
    usual_c = usual.temperature_c if utc is None else usual_temperature_c(site, utc)
    celsius = usual_c if weather.temperature_c is None else weather.temperature_c
    unknown = [
        NIGHTS_K / (celsius + KELVIN) if weather.temperature_c is None else 0.0,
        DAYS_HPA / SEA_LEVEL_PRESSURE_HPA if weather.pressure_hpa is None else 0.0,
    ]
    return replace(
        usual,
        scale_sigma=math.hypot(READ_OFF, *unknown),
        temperature_c=celsius,
        pressure_hpa=usual.pressure_hpa if weather.pressure_hpa is None else weather.pressure_hpa,
    )


def usual_temperature_c(site: Site, utc: Utc) -> float:
    """Of a night of this season: by latitude, date and height; coasts and continents differ by NIGHTS_K."""
    latitude = abs(site.lat_deg)
    mean, swing = (float(np.interp(latitude, SEASON_LATITUDE_DEG, of)) for of in (SEASON_MEAN_C, SEASON_SWING_K))
    since_warmest = julian_epoch_year(utc) - WARMEST
    season = hemisphere_sign(site) * math.cos(2.0 * math.pi * since_warmest)
    return mean + swing * season - COOLER_K_M * max(site.elev_m, 0.0)
