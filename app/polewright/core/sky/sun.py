"""How high the Sun stands: good to a few hundredths of a degree, to tell night from day.

Low-precision formulae for the Sun (The Astronomical Almanac, section C; 0.01 degrees from 1950 to 2050).
"""

from __future__ import annotations

import math

from polewright.core.model import Site, Utc
from polewright.core.sky.timescales import J2000_JD, greenwich_mean_sidereal_rad


def sun_position_rad(utc: Utc) -> tuple[float, float]:
    """Right ascension and declination, rad, of date."""
    days = (utc.jd1 - J2000_JD) + utc.jd2
    mean_longitude = math.radians(280.460 + 0.9856474 * days)
    anomaly = math.radians(357.528 + 0.9856003 * days)
    longitude = mean_longitude + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2.0 * anomaly))
    obliquity = math.radians(23.439 - 0.0000004 * days)
    ra = math.atan2(math.cos(obliquity) * math.sin(longitude), math.cos(longitude))
    return ra % (2.0 * math.pi), math.asin(math.sin(obliquity) * math.sin(longitude))


def sun_altitude_rad(utc: Utc, site: Site) -> float:
    """Altitude of the Sun's centre over the horizon of the site, rad, air apart."""
    ra, dec = sun_position_rad(utc)
    hour_angle = greenwich_mean_sidereal_rad(utc) + math.radians(site.lon_deg) - ra
    lat = math.radians(site.lat_deg)
    return math.asin(math.sin(lat) * math.sin(dec) + math.cos(lat) * math.cos(dec) * math.cos(hour_angle))
