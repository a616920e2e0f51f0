"""Star places and poles against published numbers, the source named beside each.

Meeus: J. Meeus, Astronomical Algorithms, 2nd ed., Willmann-Bell 1998 (confirmed through an open implementation of the
book's examples). SOFA: the published test program of the library, t_sofa_c.c / t_erfa_c.c.
"""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from axis_sky import ARCSEC, tt_of
from polewright.core.angles import separation_rad, sky_to_vector
from polewright.core.model import Atmosphere, Site, TargetPole, Utc
from polewright.core.sky.places import horizontal_to_enu, observed_enu, pole_enu, refraction_rad

VACUUM = Atmosphere(0.0)


def hours(h: float, m: float, s: float) -> float:
    return float(np.radians(15.0 * (h + m / 60.0 + s / 3600.0)))


def degrees(d: float, m: float, s: float) -> float:
    return float(np.radians(d + m / 60.0 + s / 3600.0))


class TestErfaAsInstalled:
    """The library that does the astronomy is the one whose test program was published."""

    def test_earth_rotation_angle(self) -> None:  # t_erfa_c, t_era00
        assert erfa.era00(2400000.5, 54388.0) == pytest.approx(0.4022837240028158102, abs=1e-12)

    def test_apparent_sidereal_time(self) -> None:  # t_erfa_c, t_gst06a
        assert erfa.gst06a(2400000.5, 53736.0, 2400000.5, 53736.0) == pytest.approx(1.754166137675019159, abs=1e-12)

    def test_mean_sidereal_time(self) -> None:  # t_erfa_c, t_gmst06
        assert erfa.gmst06(2400000.5, 53736.0, 2400000.5, 53736.0) == pytest.approx(1.754174971870091203, abs=1e-12)

    def test_horizontal_coordinates(self) -> None:  # t_erfa_c, t_hd2ae and t_hd2pa
        assert erfa.hd2ae(1.1, 1.2, 0.3) == pytest.approx((5.916889243730066194, 0.4472186304990486228), abs=1e-13)
        assert erfa.hd2pa(1.1, 1.2, 0.3) == pytest.approx(1.906227428001995580, abs=1e-13)

    def test_refraction_constants(self) -> None:  # t_erfa_c, t_refco
        expected = (0.2264949956241415009e-3, -0.2598658261729343970e-6)
        assert erfa.refco(800.0, 10.0, 0.9, 0.4) == pytest.approx(expected, abs=1e-15)

    def test_bias_precession_nutation(self) -> None:  # t_erfa_c, t_pnm06a
        assert erfa.pnm06a(2400000.5, 50123.9999)[2][0] == pytest.approx(-0.3639337469629464969e-3, abs=1e-14)

    def test_observed_place_from_icrs(self) -> None:  # t_erfa_c, t_atco13
        found = erfa.atco13(
            2.71, 0.174, 1e-5, 5e-6, 0.1, 55.0, 2456384.5, 0.969254051, 0.1550675, -0.527800806, -1.2345856, 2738.0,
            2.47230737e-7, 1.82640464e-6, 731.0, 12.8, 0.59, 0.55,
        )  # fmt: skip
        expected = (0.9251774485485515207e-1, 1.407661405256499357, -0.9265154431529724692e-1, 0.1716626560072526200,
                    2.710260453504961012)  # fmt: skip
        assert found[:5] == pytest.approx(expected, abs=1e-12)

    def test_observed_place_from_cirs(self) -> None:  # t_erfa_c, t_atio13
        found = erfa.atio13(
            2.710121572969038991, 0.1729371367218230438, 2456384.5, 0.969254051, 0.1550675, -0.527800806, -1.2345856,
            2738.0, 2.47230737e-7, 1.82640464e-6, 731.0, 12.8, 0.59, 0.55,
        )  # fmt: skip
        assert found[0] == pytest.approx(0.9233952224895122499e-1, abs=1e-12)
        assert found[1] == pytest.approx(1.407758704513549991, abs=1e-12)
        assert found[3] == pytest.approx(0.1717653435756234676, abs=1e-12)

    def test_sidereal_time_of_the_book(self) -> None:  # Meeus examples 12.a (p. 88) and 12.b (p. 89)
        assert erfa.gmst82(2446895.5, 0.0) == pytest.approx(hours(13, 10, 46.3668), abs=4e-8)
        assert erfa.gst94(2446895.5, 0.0) == pytest.approx(hours(13, 10, 46.1351), abs=4e-8)
        assert erfa.gmst82(2446895.5, 19.35 / 24.0) == pytest.approx(hours(8, 34, 57.0896), abs=4e-8)

    def test_nutation_of_the_book(self) -> None:  # Meeus example 22.a (p. 148): 1987 April 10
        psi, eps = erfa.nut80(2446895.5, 0.0)
        assert (psi / ARCSEC, eps / ARCSEC) == pytest.approx((-3.788, 9.443), abs=1e-3)
        psi, eps = erfa.nut06a(2446895.5, 0.0)
        assert (psi / ARCSEC, eps / ARCSEC) == pytest.approx((-3.788, 9.443), abs=1e-2)

    def test_precession_of_theta_persei(self) -> None:  # Meeus example 21.b (p. 135): J2000 to 2028 November 13.19
        years = (2462088.69 - 2451545.0) / 365.25
        start = sky_to_vector(hours(2, 44, 11.986 + 0.03425 * years), degrees(49, 13, 42.48 - 0.0895 * years))
        found = erfa.pmat76(2462088.69, 0.0) @ start
        assert separation_rad(found, sky_to_vector(hours(2, 46, 11.331), degrees(49, 20, 54.54))) < 0.1 * ARCSEC

    @pytest.mark.parametrize(
        ("epoch", "ra", "dec"),
        [
            (2415020.3135, (1, 22, 33.90), (88, 46, 26.18)),
            (2469807.5, (3, 48, 16.43), (89, 27, 15.38)),
            (2488070.0, (5, 53, 29.17), (89, 32, 22.18)),
        ],
    )
    def test_precession_of_polaris(self, epoch: float, ra: tuple[float, ...], dec: tuple[float, ...]) -> None:
        """Meeus chapter 21, exercise (p. 136): B1900, J2050 and J2100, to the rounding of the printed values."""
        years = (epoch - 2451545.0) / 365.25
        start = sky_to_vector(hours(2, 31, 48.704 + 0.19877 * years), degrees(89, 15, 50.72 - 0.0152 * years))
        found = erfa.pmat76(epoch, 0.0) @ start
        assert separation_rad(found, sky_to_vector(hours(*ra), degrees(*dec))) < 0.03 * ARCSEC


def test_horizontal_vectors_match_venus_at_washington() -> None:
    """Meeus example 13.b (p. 95): H 64.352133, declination -6.719892, latitude 38.921389."""
    azimuth, altitude = erfa.hd2ae(np.radians(64.352133), np.radians(-6.719892), np.radians(38.921389))
    assert np.degrees(azimuth) - 180.0 == pytest.approx(68.0337, abs=2e-4)
    assert np.degrees(altitude) == pytest.approx(15.1249, abs=2e-4)
    h, dec, lat = np.radians([64.352133, -6.719892, 38.921389])
    west = np.array([-1.0, 0.0, 0.0])
    meridian, north = np.array([0.0, -np.sin(lat), np.cos(lat)]), np.array([0.0, np.cos(lat), np.sin(lat)])
    vector = np.cos(dec) * (np.cos(h) * meridian + np.sin(h) * west) + np.sin(dec) * north
    assert separation_rad(vector, horizontal_to_enu(azimuth, altitude)) < 1e-12


def test_separation_of_arcturus_and_spica() -> None:
    """Meeus example 17.a (p. 110): 32.7930 degrees."""
    arcturus = sky_to_vector(np.radians(213.9154), np.radians(19.1825))
    spica = sky_to_vector(np.radians(201.2983), np.radians(-11.1614))
    assert np.degrees(separation_rad(arcturus, spica)) == pytest.approx(32.7930, abs=1e-4)


def test_apparent_place_of_theta_persei() -> None:
    """Meeus example 23.a (p. 152): apparent 2h46m14.390s +49 21'07.45" on 2028 November 13.19 TD.

    Seen from a site, the place is turned by sidereal time and shifted by diurnal aberration (at most 0.32" cos lat).
    """
    site = Site(41.0, 15.0, 0.0)
    years = (2462088.69 - 2451545.0) / 365.25
    star = sky_to_vector(hours(2, 44, 11.986 + 0.03425 * years), degrees(49, 13, 42.48 - 0.0895 * years))
    utc = Utc(2462088.69 - 69.184 / 86400.0, 0.0)
    seen = observed_enu(star[None], utc, site, VACUUM)[0]
    hour_angle = erfa.ufunc.gst06a(utc.jd1, utc.jd2, *tt_of(utc)) + np.radians(site.lon_deg) - hours(2, 46, 14.390)
    azimuth, altitude = erfa.hd2ae(hour_angle, degrees(49, 21, 7.45), np.radians(site.lat_deg))
    assert separation_rad(seen, horizontal_to_enu(azimuth, altitude)) / ARCSEC < 0.1 + 0.32 * np.cos(np.radians(41.0))


def test_a_star_near_the_pole_as_seen_from_latitude_40() -> None:
    """ERFA and, independently, pnm06a, ab, gst06a and spherical trigonometry (PyERFA 2.0.1.5): see the tolerance.

    ICRS (37.954561, +89.264109), latitude 40, longitude -3, 600 m, 2026-11-26 22:00 UTC, no Earth orientation data.
    """
    site, utc = Site(40.0, -3.0, 600.0), Utc(2461370.5, 22.0 / 24.0)
    star = sky_to_vector(np.radians(37.954561), np.radians(89.264109))[None]
    for air, altitude_deg in ((VACUUM, 40.601242), (Atmosphere(1010.0, 10.0, 0.5, 0.574), 40.619974)):
        v = observed_enu(star, utc, site, air)[0]
        assert np.degrees(np.arctan2(v[0], v[1])) == pytest.approx(0.203454, abs=1e-6)
        assert np.degrees(np.arcsin(v[2])) == pytest.approx(altitude_deg, abs=1e-6)
    bare = observed_enu(star, utc, site, VACUUM)[0]
    independent = horizontal_to_enu(np.radians(0.203364), np.radians(40.601242))
    # what is left is diurnal aberration, which the independent chain leaves out: 0.32" cos 40
    assert separation_rad(bare, independent) / ARCSEC == pytest.approx(0.245, abs=0.01)


@pytest.mark.parametrize(("lat", "arcsec"), [(20, 157.58), (30, 99.97), (40, 68.94), (50, 48.59), (60, 33.45)])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_refraction_of_the_pole(lat: float, arcsec: float, side: float) -> None:
    """ERFA refco, 1010 hPa, 10 C, dry, 0.574 um; a ray trace through a spherical standard atmosphere (method of
    Auer and Standish 2000) gave 157.5, 99.94, 68.92, 48.57, 33.44."""
    air, site = Atmosphere(1010.0, 10.0, 0.0, 0.574), Site(side * lat, 7.0)
    true, lifted = pole_enu(site, air, TargetPole.TRUE), pole_enu(site, air, TargetPole.REFRACTED)
    assert separation_rad(true, lifted) / ARCSEC == pytest.approx(arcsec, abs=0.05)
    assert lifted[2] > true[2]
    between = pole_enu(site, air, TargetPole.BETWEEN)
    assert separation_rad(true, between) / ARCSEC == pytest.approx(0.5 * arcsec, abs=0.03)


@pytest.mark.parametrize(
    ("zenith_distance", "arcsec"), [(45.0, 58.16), (60.0, 100.51), (70.0, 158.63), (76.0, 229.45)]
)
def test_refraction_against_the_ray_trace_in_the_notes_of_refco(zenith_distance: float, arcsec: float) -> None:
    """ERFA refco, notes: ray tracing at observed zenith distances, 1005 hPa, 280.15 K, 80 %, 0.574 um."""
    air = Atmosphere(1005.0, 7.0, 0.8, 0.574)
    true_altitude = np.radians(90.0 - zenith_distance - arcsec / 3600.0)
    assert refraction_rad(true_altitude, air) / ARCSEC == pytest.approx(arcsec, abs=0.1)


def test_refraction_low_down() -> None:
    """Meeus example 16.a (p. 107): 28.754' at an apparent altitude of 0.5 degrees, by Bennett's formula, which
    fits other tables: dry air layered as in ISO 2533 gives 28.28' (tests/rays.py)."""
    lifted = refraction_rad(np.radians(0.5 - 28.754 / 60.0), Atmosphere(1010.0, 10.0)) / ARCSEC / 60.0
    assert lifted == pytest.approx(28.754, abs=0.5)
