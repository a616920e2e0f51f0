"""The simulated sky against published values and against astropy, neither of which it was written with."""

from __future__ import annotations

from collections.abc import Iterator

import erfa
import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD, separation_rad, sky_to_vector
from polewright.core.model import Atmosphere, FloatArray, Site, Utc
from polewright.simulate.refraction import refract, refraction_table, trace
from polewright.simulate.sky import EarthState, sky_moment

NO_AIR = Atmosphere(pressure_hpa=0.0)


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> Utc:
    return Utc(*(float(part) for part in erfa.dtf2d("UTC", year, month, day, hour, minute, 0.0)))


@pytest.fixture()
def offline_iers() -> Iterator[None]:
    """astropy without its look into the network."""
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        yield


# ray trace of a spherical standard atmosphere and erfa.refco, 1010 hPa, 10 C, dry, 0.574 um
@pytest.mark.parametrize(
    ("lat_deg", "arcsec"), [(20.0, 157.58), (30.0, 99.97), (40.0, 68.94), (50.0, 48.59), (60.0, 33.45)]
)
def test_the_refracted_pole_stands_where_erfa_refco_has_it(lat_deg: float, arcsec: float) -> None:
    table = refraction_table(Atmosphere(1010.0, 10.0, 0.0, 0.574))
    bending = table.bending_rad(np.array([np.radians(90.0 - lat_deg)])) * ARCSEC_PER_RAD
    assert bending == pytest.approx(arcsec, abs=0.07)


def test_rays_bend_as_the_traces_published_in_the_notes_of_erfa_refco() -> None:
    """Notes of the ERFA/SOFA routine refco: rigorous ray traces, 1005 hPa, 280.15 K, 80 %, 0.574 um."""
    bending = trace(np.radians([45.0, 60.0, 70.0, 76.0]), Atmosphere(1005.0, 7.0, 0.8, 0.574)) * ARCSEC_PER_RAD
    assert bending == pytest.approx([58.16, 100.51, 158.63, 229.45], abs=0.04)


@pytest.mark.parametrize("pressure_hpa", [650.0, 850.0, 1030.0])
@pytest.mark.parametrize("temperature_c", [-15.0, 10.0, 30.0])
@pytest.mark.parametrize("humidity", [0.0, 1.0])
def test_refraction_agrees_with_erfa_within_a_third_of_an_arcsecond_above_20_degrees(
    pressure_hpa: float, temperature_c: float, humidity: float
) -> None:
    a, b = erfa.refco(pressure_hpa, temperature_c, humidity, 0.6)
    seen_z = np.radians(np.linspace(1.0, 70.0, 50))
    ours = trace(seen_z, Atmosphere(pressure_hpa, temperature_c, humidity, 0.6))
    theirs = a * np.tan(seen_z) + b * np.tan(seen_z) ** 3
    assert np.abs(ours - theirs).max() * ARCSEC_PER_RAD < 0.3


def test_refraction_raises_stars_and_keeps_their_azimuth() -> None:
    air = Atmosphere(1000.0)
    below = sky_to_vector(np.radians([10.0, 100.0, 200.0]), np.radians([0.3, 30.0, 89.9]))
    seen = refract(below, air)
    assert np.all(np.diff([below[:, 2], seen[:, 2]], axis=0) > 0.0)
    assert np.arctan2(seen[:, 1], seen[:, 0]) == pytest.approx(np.arctan2(below[:, 1], below[:, 0]), abs=1e-12)
    assert refract(np.array([0.0, 0.0, 1.0]), air) == pytest.approx([0.0, 0.0, 1.0])


def test_a_star_near_the_pole_stands_where_erfa_has_it() -> None:
    """erfa.apco13 + atciqz + atioq, pyerfa 2.0.1.5: ICRS (37.954561, +89.264109) deg, 2026-11-26 22:00, no air."""
    seen = sky_moment(utc(2026, 11, 26, 22), Site(40.0, -3.0, 600.0), NO_AIR).observed(
        sky_to_vector(np.radians(37.954561), np.radians(89.264109))
    )
    assert np.degrees(np.arctan2(seen[0], seen[1])) == pytest.approx(0.203454, abs=1e-6)
    assert np.degrees(np.arcsin(seen[2])) == pytest.approx(40.601242, abs=1e-6)


def test_theta_persei_stands_where_meeus_has_it() -> None:
    """Meeus, Astronomical Algorithms, 2nd ed., example 23.a: declination +49 21'07.45", 2028 Nov 13.19 TD."""
    years = (2462088.69 - 2451545.0) / 365.25
    ra = (2 + 44 / 60 + (11.986 + 0.03425 * years) / 3600) * np.pi / 12
    dec = np.radians(49 + 13 / 60 + (42.48 - 0.0895 * years) / 3600)
    at_the_pole = Site(90.0, 0.0)  # where there is no diurnal aberration, as the book's geocentric place has none
    moment = sky_moment(Utc(2462088.5, 0.19 - 69.184 / 86400), at_the_pole, NO_AIR)
    seen_dec = np.degrees(np.arcsin(moment.true_enu(sky_to_vector(ra, dec)) @ moment.pole_true))
    assert (seen_dec - 49 - 21 / 60) * 3600 == pytest.approx(7.45, abs=0.1)


SITES = [Site(52.3, 3.0, 80.0), Site(-30.9, 156.0, 640.0), Site(0.1, -95.0, 2850.0), Site(78.2, 5.0, 20.0)]
DATES = [(2026, 3, 2, 19, 40), (2026, 8, 15, 3, 5), (2027, 1, 31, 12, 20)]


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"lat{s.lat_deg}")
@pytest.mark.parametrize("date", DATES, ids=lambda d: f"{d[0]}-{d[1]}")
def test_places_without_air_agree_with_astropy_to_a_milliarcsecond(
    site: Site, date: tuple[int, int, int, int, int], offline_iers: None
) -> None:
    """astropy 8.0.2, AltAz with pressure 0, with its Earth orientation passed to the simulated Earth."""
    icrs, theirs, earth = _astropy_altaz(site, utc(*date), 0.0)
    ours = sky_moment(utc(*date), site, NO_AIR, earth).observed(icrs)
    assert separation_rad(ours, theirs).max() * ARCSEC_PER_RAD < 0.001


def test_places_through_air_agree_with_astropy_above_20_degrees(offline_iers: None) -> None:
    """Ray trace against the two-term formula of ERFA: below 0.3 arcsec is what the formula itself claims."""
    site, when = SITES[0], utc(*DATES[0])
    icrs, theirs, earth = _astropy_altaz(site, when, 1002.0)
    ours = sky_moment(when, site, Atmosphere(1002.0, 4.0, 0.7, 0.6), earth).observed(icrs)
    high = theirs[:, 2] > np.sin(np.radians(20.0))
    assert high.sum() > 50
    assert separation_rad(ours, theirs)[high].max() * ARCSEC_PER_RAD < 0.3


def test_the_way_back_from_what_is_seen() -> None:
    moment = sky_moment(utc(2026, 9, 1, 22), SITES[0], Atmosphere(990.0, 5.0))
    for altitude in (8.0, 30.0, 88.0):
        seen = np.array([np.cos(np.radians(altitude)), 0.0, np.sin(np.radians(altitude))])
        again = moment.observed(moment.icrs_of(seen))
        assert separation_rad(again, seen) * ARCSEC_PER_RAD < 1e-5


def test_a_minute_later_is_the_same_sky_turned() -> None:
    start = utc(2026, 9, 1, 22)
    stars = _stars(200)
    turned = sky_moment(start, SITES[1], NO_AIR).later(60.0)
    anew = sky_moment(start.plus_seconds(60.0), SITES[1], NO_AIR)
    assert separation_rad(turned.observed(stars), anew.observed(stars)).max() * ARCSEC_PER_RAD < 0.002


def test_the_elevated_pole_is_the_one_above_the_horizon() -> None:
    for site in SITES:
        pole = sky_moment(utc(2026, 9, 1), site, NO_AIR).pole_true
        assert np.degrees(np.arcsin(pole[2])) == pytest.approx(abs(site.lat_deg), abs=1e-9)


def _stars(count: int) -> FloatArray:
    v = np.random.default_rng(11).normal(size=(count, 3))
    return np.asarray(v / np.linalg.norm(v, axis=1)[:, None])


def _astropy_altaz(site: Site, when: Utc, pressure_hpa: float) -> tuple[FloatArray, FloatArray, EarthState]:
    """300 stars in ICRS, the same in ENU as astropy sees them, and the Earth orientation that it used."""
    import astropy.units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord
    from astropy.time import Time
    from astropy.utils import iers

    icrs = _stars(300)
    time = Time(when.jd1, when.jd2, format="jd", scale="utc")
    place = EarthLocation.from_geodetic(site.lon_deg * u.deg, site.lat_deg * u.deg, site.elev_m * u.m)
    frame = AltAz(
        obstime=time,
        location=place,
        pressure=pressure_hpa * u.hPa,
        temperature=4.0 * u.deg_C,
        relative_humidity=0.7,
        obswl=0.6 * u.micron,
    )
    ra, dec = np.arctan2(icrs[:, 1], icrs[:, 0]), np.arcsin(icrs[:, 2])
    seen = SkyCoord(ra * u.rad, dec * u.rad).transform_to(frame)
    az, alt = seen.az.rad, seen.alt.rad
    enu = np.stack([np.cos(alt) * np.sin(az), np.cos(alt) * np.cos(az), np.sin(alt)], axis=-1)
    xp, yp = iers.earth_orientation_table.get().pm_xy(time)
    earth = EarthState(float(time.delta_ut1_utc), float(xp.to_value(u.arcsec)), float(yp.to_value(u.arcsec)))
    return icrs, enu, earth
