"""Where the stars really stand over the simulated site, written from the textbook.

Explanatory Supplement to the Astronomical Almanac, 3rd ed. (2013), ch. 7, on the equinox-based route: light
deflection by the Sun, aberration from the velocity of the observer (Earth and site added as vectors), the matrix of
bias, precession and nutation, Greenwich apparent sidereal time, polar motion, geodetic latitude and longitude,
ray-traced refraction. The estimator takes the CIO-based route with other routines: a mistake in either shows as a
difference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import erfa
import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, unit
from polewright.core.model import Atmosphere, FloatArray, Site, Utc
from polewright.simulate.refraction import refract
from polewright.simulate.rotations import rotations_about

_LIGHT_M_S = 299792458.0  # SI, exact
_AU_M = 149597870700.0  # IAU 2012 Resolution B2
_LIGHT_AU_DAY = _LIGHT_M_S * 86400.0 / _AU_M
_SUN_DEFLECTION = 1.97412574336e-8  # 2 G M / (c^2 au)
_EQUATOR_M, _FLATTENING = 6378137.0, 1.0 / 298.257223563  # WGS 84


@dataclass(frozen=True)
class EarthState:
    """What only measurement can tell of the Earth: UT1 - UTC and the pole's wandering."""

    dut1_s: float = 0.0
    xp_arcsec: float = 0.0
    yp_arcsec: float = 0.0


@dataclass(frozen=True, eq=False)
class SkyMoment:
    """The sky over one site at one instant.

    `icrs_to_enu` (3, 3) is the rotation alone; `velocity` (3,) is the observer's, in units of light, in ICRS axes;
    `from_sun` (3,) the unit vector Sun to Earth and `sun_au` their distance; `pole_true` (3,) is the elevated
    celestial pole of date in ENU, without refraction.
    """

    utc: Utc
    site: Site
    atmosphere: Atmosphere
    icrs_to_enu: FloatArray
    velocity: FloatArray
    from_sun: FloatArray
    sun_au: float
    pole_true: FloatArray

    @property
    def hemisphere(self) -> float:
        """+1 in the north (and on the equator), -1 in the south."""
        return 1.0 if self.site.lat_deg >= 0.0 else -1.0

    @property
    def pole_refracted(self) -> FloatArray:
        """The elevated pole as it is seen through the air, in ENU."""
        return refract(self.pole_true, self.atmosphere)

    def apparent(self, icrs: FloatArray) -> FloatArray:
        """Directions (..., 3) in ICRS axes after light deflection and aberration."""
        cosine = icrs @ self.from_sun
        strength = _SUN_DEFLECTION / self.sun_au / np.maximum(1.0 + cosine, 1e-5)
        bent = unit(icrs + strength[..., None] * (self.from_sun - cosine[..., None] * icrs))
        beta = self.velocity
        inverse_gamma = np.sqrt(1.0 - beta @ beta)
        along = (bent @ beta)[..., None]
        moved = (inverse_gamma * bent + beta * (1.0 + along / (1.0 + inverse_gamma))) / (1.0 + along)
        return unit(moved)

    def true_enu(self, icrs: FloatArray) -> FloatArray:
        """Directions (..., 3) in ENU without air."""
        return np.asarray(self.apparent(icrs) @ self.icrs_to_enu.T)

    def observed(self, icrs: FloatArray) -> FloatArray:
        """Directions (..., 3) in ENU as a camera sees stars at the ICRS places (..., 3)."""
        return refract(self.true_enu(icrs), self.atmosphere)

    def icrs_of(self, enu_observed: FloatArray) -> FloatArray:
        """The inverse of `observed`, (3,), to 1e-6 arcsec above 5 degrees of altitude."""
        guess = unit(enu_observed @ self.icrs_to_enu)
        for _ in range(6):
            guess = unit(guess - (self.observed(guess) - enu_observed) @ self.icrs_to_enu)
        return guess

    def later(self, seconds: float) -> SkyMoment:
        """The sky a short while later (or earlier): the Earth turned, all else as it was. Good for some minutes."""
        return replace(self, utc=self.utc.plus_seconds(seconds), icrs_to_enu=self.turned(np.array([seconds]))[0])

    def turned(self, seconds: FloatArray) -> FloatArray:
        """`icrs_to_enu` so many seconds (S,) later, (S, 3, 3)."""
        north = self.pole_true * self.hemisphere
        return np.asarray(rotations_about(north, -SIDEREAL_RATE_RAD_S * seconds) @ self.icrs_to_enu)


def sky_moment(utc: Utc, site: Site, atmosphere: Atmosphere, earth: EarthState = EarthState()) -> SkyMoment:
    """The sky over `site` at `utc`, through `atmosphere` (the air at the site itself)."""
    tt = erfa.taitt(*erfa.utctai(utc.jd1, utc.jd2))
    ut1 = erfa.utcut1(utc.jd1, utc.jd2, earth.dut1_s)
    heliocentric, barycentric = erfa.epv00(*tt)
    to_true_equator = erfa.pnm06a(*tt)
    sidereal = erfa.gst06a(*ut1, *tt)
    polar_motion = erfa.pom00(earth.xp_arcsec / ARCSEC_PER_RAD, earth.yp_arcsec / ARCSEC_PER_RAD, 0.0)
    lat, lon = np.radians(site.lat_deg), np.radians(site.lon_deg)
    equator_to_enu = _meridian_to_enu(lat) @ _turn_z(lon) @ polar_motion @ _turn_z(sidereal)
    icrs_to_enu = equator_to_enu @ to_true_equator
    sun_au = float(np.linalg.norm(heliocentric["p"]))
    return SkyMoment(
        utc=utc,
        site=site,
        atmosphere=atmosphere,
        icrs_to_enu=icrs_to_enu,
        velocity=barycentric["v"] / _LIGHT_AU_DAY + icrs_to_enu[0] * _spin_speed(site) / _LIGHT_M_S,
        from_sun=heliocentric["p"] / sun_au,
        sun_au=sun_au,
        pole_true=equator_to_enu[:, 2] * (1.0 if site.lat_deg >= 0.0 else -1.0),
    )


def _turn_z(angle_rad: float) -> FloatArray:
    """Matrix (3, 3) that expresses a vector in axes turned by `angle_rad` about z."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def _meridian_to_enu(lat_rad: float) -> FloatArray:
    """From axes (equator on the upper meridian, east, north pole) to ENU."""
    c, s = np.cos(lat_rad), np.sin(lat_rad)
    return np.array([[0.0, 1.0, 0.0], [-s, 0.0, c], [c, 0.0, s]])


def _spin_speed(site: Site) -> float:
    """Speed (m/s, to the east) of the site on the spinning ellipsoid."""
    lat = np.radians(site.lat_deg)
    e2 = _FLATTENING * (2.0 - _FLATTENING)
    normal = _EQUATOR_M / np.sqrt(1.0 - e2 * np.sin(lat) ** 2)
    return float(SIDEREAL_RATE_RAD_S * (normal + site.elev_m) * np.cos(lat))
