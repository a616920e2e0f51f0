"""Where the sky is seen from a site: ICRS -> observed ENU through ERFA, the atmosphere, the poles.

Chain: ICRS -> light deflection, aberration -> precession-nutation (CIRS) -> Earth rotation -> ENU -> refraction
(SOFA Astrometry Tools). Earth orientation data are not needed: UT1-UTC and polar motion are taken as 0, which turns
the result about the pole by at most 15" and shifts the measured pole by less than 0.5". The ufuncs of ERFA are called
directly because they return "dubious year" (leap seconds beyond the table, harmless here) as a status and never as
a warning.
"""

from __future__ import annotations

import math
from functools import lru_cache

import erfa
import numpy as np

from polewright.core.angles import vector_to_sky
from polewright.core.errors import UsageError
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole, Utc
from polewright.core.sky.refraction import LEAST_PRESSURE_HPA, bending_rad, refraction_constants

SEA_LEVEL_PRESSURE_HPA = 1013.25  # ISO 2533 standard atmosphere
SCALE_HEIGHT_M = 8434.0  # of the air: R T / (M g) at 15 C, with the constants of ISO 2533:1975
STANDARD_TEMPERATURE_C = 10.0  # chosen: a mild night; 10 C more or less changes refraction by 3.5 %
REFRACTED_FROM_LATITUDE_DEG = 30.0  # from here toward the poles the refracted pole is the better compromise
BETWEEN_FROM_LATITUDE_DEG = 18.0  # below it the true pole is: drift rms over the sky above 30 degrees, see the test


def standard_atmosphere(site: Site) -> Atmosphere:
    """Mean pressure at the site's height, 10 degrees C: leaves less than 1" of axis error (2" at latitude 20)."""
    return Atmosphere(SEA_LEVEL_PRESSURE_HPA * math.exp(-site.elev_m / SCALE_HEIGHT_M), STANDARD_TEMPERATURE_C)


def observed_enu(icrs: FloatArray, utc: Utc, site: Site, atmosphere: Atmosphere) -> FloatArray:
    """Unit vectors (N, 3) toward the observed (refracted) places, ENU, of ICRS unit vectors (N, 3) at epoch of date.

    UsageError when the site or the time is impossible.
    """
    ra, dec = vector_to_sky(np.asarray(icrs, dtype=float))
    context = _astrometry_context(utc, site, atmosphere)
    ra_cirs, dec_cirs = erfa.ufunc.atciqz(ra, dec, context)
    azimuth, zenith_distance, *_ = erfa.ufunc.atioq(ra_cirs, dec_cirs, context)
    altitude = 0.5 * math.pi - zenith_distance
    low = refraction_constants(atmosphere).low
    return horizontal_to_enu(azimuth, altitude if low is None else altitude + low.more_of_formula(altitude))


@lru_cache(maxsize=8)  # the frames of a capture are placed more than once
def _astrometry_context(utc: Utc, site: Site, atmosphere: Atmosphere) -> object:
    """What ERFA precomputes for one instant at one site (star-independent astrometry parameters)."""
    check_site(site)
    context, _, status = erfa.ufunc.apco13(
        utc.jd1,
        utc.jd2,
        0.0,  # UT1-UTC
        math.radians(site.lon_deg),
        math.radians(site.lat_deg),
        site.elev_m,
        0.0,  # polar motion
        0.0,
        atmosphere.pressure_hpa if atmosphere.pressure_hpa >= LEAST_PRESSURE_HPA else 0.0,
        atmosphere.temperature_c,
        atmosphere.relative_humidity,
        atmosphere.wavelength_um,
    )
    if status < 0:
        raise UsageError(f"No star places can be computed for the Julian date {utc.jd1 + utc.jd2:.1f}.")
    return context


def check_site(site: Site) -> None:
    """UsageError when the site is nowhere on Earth."""
    if not (math.isfinite(site.lat_deg) and -90.0 <= site.lat_deg <= 90.0):
        raise UsageError(f"The latitude must lie between -90 and +90 degrees, not {site.lat_deg:g}.")
    if not (math.isfinite(site.lon_deg) and -360.0 <= site.lon_deg <= 360.0):
        raise UsageError(f"The longitude must lie between -360 and +360 degrees, not {site.lon_deg:g}.")
    if not (math.isfinite(site.elev_m) and -500.0 <= site.elev_m <= 9000.0):
        raise UsageError(f"The height must lie between -500 and 9000 m, not {site.elev_m:g}.")


def horizontal_to_enu(azimuth_rad: FloatArray | float, altitude_rad: FloatArray | float) -> FloatArray:
    """Unit vectors (..., 3) in ENU; azimuth from North through East."""
    azimuth, altitude = np.asarray(azimuth_rad), np.asarray(altitude_rad)
    return np.stack(
        [np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth), np.sin(altitude)], axis=-1
    )


def hemisphere_sign(site: Site) -> float:
    """+1.0 where the north celestial pole is the elevated one, -1.0 in the south; the equator counts as north."""
    return 1.0 if site.lat_deg >= 0.0 else -1.0


def true_pole_enu(site: Site) -> FloatArray:
    """Unit vector (3,), ENU, of the elevated celestial pole of date, without refraction."""
    latitude = math.radians(site.lat_deg)
    return np.array([0.0, hemisphere_sign(site) * math.cos(latitude), abs(math.sin(latitude))])


def refraction_rad(altitude_rad: float, atmosphere: Atmosphere) -> float:
    """How much the air lifts a direction whose altitude WITHOUT air is `altitude_rad`; the pole and the stars share
    one model (core/sky/refraction.py)."""
    return float(bending_rad(np.array(altitude_rad), refraction_constants(atmosphere)))


def pole_enu(site: Site, atmosphere: Atmosphere, target: TargetPole) -> FloatArray:
    """Unit vector (3,), ENU, of the target pole: the elevated pole, raised by its refraction times target.value.

    It lies on the meridian at every latitude: due north at altitude lat (the equator included), due south at -lat.
    """
    latitude = abs(math.radians(site.lat_deg))
    altitude = latitude + target.value * refraction_rad(latitude, atmosphere)
    return np.array([0.0, hemisphere_sign(site) * math.cos(altitude), math.sin(altitude)])


def pole_altitude_rad(site: Site, atmosphere: Atmosphere, target: TargetPole) -> float:
    """Altitude of the target pole, rad."""
    pole = pole_enu(site, atmosphere, target)
    return math.atan2(float(pole[2]), math.hypot(float(pole[0]), float(pole[1])))


def default_target(site: Site) -> TargetPole:
    """The pole that suits most of the sky above 30 degrees: refracted from latitude 30 on, between below, true near
    the equator, where the air lifts the pole far more than anything one photographs."""
    latitude = abs(site.lat_deg)
    if latitude >= REFRACTED_FROM_LATITUDE_DEG:
        return TargetPole.REFRACTED
    return TargetPole.BETWEEN if latitude >= BETWEEN_FROM_LATITUDE_DEG else TargetPole.TRUE


def east_and_up(pole: FloatArray, site: Site) -> FloatArray:
    """The directions (2, 3), ENU, in which `east` and `up` are counted at a target pole.

    East is the horizon's east everywhere. Up is along the meridian toward the zenith; at the pole of the Earth, where
    the pole stands in the zenith, it keeps the direction it has just before: on over the zenith, away from the
    meridian of the site (its azimuth 180 degrees in the north, 0 in the south).
    """
    return np.array([[1.0, 0.0, 0.0], [0.0, -hemisphere_sign(site) * pole[2], float(np.hypot(pole[0], pole[1]))]])


def offset_from_pole(axis: FloatArray, pole: FloatArray, site: Site) -> tuple[float, float]:
    """(east, up), rad on the sky, of an axis (3,) against a pole (3,): the great circle between them."""
    across = east_and_up(pole, site) @ axis
    size = float(np.hypot(across[0], across[1]))
    if size == 0.0:
        return 0.0, 0.0
    angle = float(np.arctan2(size, pole @ axis))
    return float(across[0] / size * angle), float(across[1] / size * angle)
