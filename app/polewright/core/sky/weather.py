"""The air over a site, as far as somebody has stated it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from polewright.core.model import Atmosphere, Site
from polewright.core.sky.places import standard_atmosphere


@dataclass(frozen=True)
class Weather:
    """Degrees Celsius and hectopascals at the site's height (not reduced to sea level); None where nobody said."""

    temperature_c: float | None = None
    pressure_hpa: float | None = None


def air_at(site: Site, weather: Weather) -> Atmosphere:
    """What refraction is computed with: the usual air of the site, with what is stated in its place."""
    usual = standard_atmosphere(site)
    return replace(
        usual,
        temperature_c=usual.temperature_c if weather.temperature_c is None else weather.temperature_c,
        pressure_hpa=usual.pressure_hpa if weather.pressure_hpa is None else weather.pressure_hpa,
    )
