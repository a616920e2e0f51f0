"""Observed places against astropy's AltAz: its own frames, ephemeris and bookkeeping around the same ERFA core.

Earth orientation is set to zero for astropy too (a table of zeros), so that nothing but arithmetic may differ.
Measured with astropy 8.0.2: largest difference 7e-9 arcsec over 2400 places. Tolerance 1e-4 arcsec: far below the
noise of any measurement, and far above rounding. The second oracle shares no routine at all.
"""

from __future__ import annotations

from collections.abc import Iterator

import astropy.units as u
import erfa
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.table import QTable
from astropy.time import Time
from astropy.utils import iers

from axis_sky import ARCSEC, tt_of
from axis_sky import observed as observed_by_equinox
from polewright.core.angles import separation_rad, sky_to_vector
from polewright.core.model import Atmosphere, FloatArray, Site, Utc
from polewright.core.sky.places import observed_enu

SITES = [
    Site(51.9, -1.3, 80.0),
    Site(-33.9, 18.4, 1700.0),
    Site(0.0, -78.5, 2800.0),
    Site(69.0, 20.0, 0.0),
    Site(89.5, 120.0, 2.0),
    Site(-90.0, 0.0, 2835.0),
]


@pytest.fixture(scope="module")
def no_orientation() -> Iterator[None]:
    """Zero UT1-UTC and polar motion, and no attempt to fetch anything."""
    mjd = np.arange(50000.0, 64000.0, 1.0)
    zero = np.zeros(mjd.size)
    table = iers.IERS(
        QTable(
            {
                "MJD": mjd * u.day,
                "UT1_UTC": zero * u.s,
                "PM_x": zero * u.arcsec,
                "PM_y": zero * u.arcsec,
                "dX_2000A": zero * u.arcsec,
                "dY_2000A": zero * u.arcsec,
            }
        )
    )
    with (
        iers.conf.set_temp("auto_download", False),
        iers.conf.set_temp("auto_max_age", None),
        iers.earth_orientation_table.set(table),
    ):
        yield


def by_astropy(icrs: FloatArray, when: Time, site: Site, air: Atmosphere) -> FloatArray:
    place = EarthLocation.from_geodetic(site.lon_deg * u.deg, site.lat_deg * u.deg, site.elev_m * u.m)
    frame = AltAz(
        obstime=when,
        location=place,
        pressure=air.pressure_hpa * u.hPa,
        temperature=air.temperature_c * u.deg_C,
        relative_humidity=air.relative_humidity,
        obswl=air.wavelength_um * u.micron,
    )
    stars = SkyCoord(
        np.arctan2(icrs[:, 1], icrs[:, 0]) * u.rad, np.arcsin(icrs[:, 2]) * u.rad, frame="icrs"
    ).transform_to(frame)
    alt, az = stars.alt.rad, stars.az.rad
    return np.stack([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)], axis=-1)


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"lat{s.lat_deg:g}")
@pytest.mark.parametrize("pressure", [0.0, 900.0])
def test_observed_places_agree_with_astropy(site: Site, pressure: float, no_orientation: None) -> None:
    rng = np.random.default_rng(abs(int(site.lat_deg * 10.0)) + int(pressure))
    air = Atmosphere(pressure, 3.0, 0.4, 0.6)
    for iso in ("2001-06-30T23:59:30", "2017-12-20T01:33:43", "2023-03-19T04:30:00", "2026-11-26T22:00:00"):
        when = Time(iso, scale="utc")
        icrs = sky_to_vector(rng.uniform(0.0, 2.0 * np.pi, 50), np.arcsin(rng.uniform(-1.0, 1.0, 50)))
        ours = observed_enu(icrs, Utc(when.jd1, when.jd2), site, air)
        theirs = by_astropy(icrs, when, site, air)
        high = (theirs[:, 2] > np.sin(np.radians(15.0))) | (pressure == 0.0)  # lower, rays add to ERFA's
        assert high.sum() > 5
        assert np.max(separation_rad(ours, theirs)[high]) / ARCSEC < 1e-4


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"lat{s.lat_deg:g}")
def test_observed_places_agree_with_the_equinox_based_chain(site: Site) -> None:
    """pnm06a, epv00, ab, gst06a, diurnal aberration as a vector, refraction as a root: no routine in common.

    Above 15 degrees the two forms of refraction (one Newton step; the root) differ by less than 0.002". Light
    deflection is left out of the chain: 0.004" at right angles to the Sun, 0.02" at 20 degrees from it.
    """
    rng, air, utc = np.random.default_rng(7), Atmosphere(980.0, 5.0), Utc(2461000.5, 0.3)
    icrs = sky_to_vector(rng.uniform(0.0, 2.0 * np.pi, 600), np.arcsin(rng.uniform(-1.0, 1.0, 600)))
    ours = observed_enu(icrs, utc, site, air)
    other = observed_by_equinox(icrs, utc, site, air)
    heliocentric, _, _ = erfa.ufunc.epv00(*tt_of(utc))
    sun = -np.array(heliocentric["p"]) / np.linalg.norm(heliocentric["p"])
    use = (ours[:, 2] > np.sin(np.radians(15.0))) & (icrs @ sun < np.cos(np.radians(20.0)))
    apart = separation_rad(ours[use], other[use]) / ARCSEC
    assert np.median(apart) < 0.01
    assert np.max(apart) < 0.03


def test_real_earth_orientation_changes_a_place_by_little() -> None:
    """UT1-UTC and polar motion left out: below 1" here (0.03 s, 0.4"), a turn about the pole and a shift of it."""
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        when = Time("2023-03-19T04:30:00", scale="utc")
        icrs = sky_to_vector(np.linspace(0.0, 6.0, 40), np.linspace(-1.4, 1.5, 40))
        site, air = SITES[0], Atmosphere(0.0)
        ours = observed_enu(icrs, Utc(when.jd1, when.jd2), site, air)
        assert np.max(separation_rad(ours, by_astropy(icrs, when, site, air))) / ARCSEC < 1.0
