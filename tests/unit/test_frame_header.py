"""What headers say: FITS keywords by the FITS standard 4.0 and by common practice (no source, where not marked)."""

from __future__ import annotations

from typing import Any

import pytest
from astropy.coordinates import EarthLocation
from astropy.time import Time
from astropy.wcs import WCS

from polewright.core.model import Utc
from polewright.services.frame_reader.facts import FrameFacts
from polewright.services.frame_reader.file_time import fallback_time, time_from_name
from polewright.services.frame_reader.fits_structure import parse_value
from polewright.services.frame_reader.header import Header, sexagesimal
from polewright.services.frame_reader.header_facts import facts_from_header


def facts(
    cards: dict[str, Any], comments: dict[str, str] | None = None, offset_hours: float | None = None
) -> FrameFacts:
    return facts_from_header(Header(cards, comments or {}, "FITS header"), offset_hours, (500, 650))


def seconds_from(found: FrameFacts, text: str, scale: str = "utc") -> float:
    assert found.utc_mid is not None
    expected = Time(text, scale=scale).utc
    return found.utc_mid.value.seconds_since(Utc(expected.jd1, expected.jd2))


NOON = "2026-03-01T12:00:00"


@pytest.mark.parametrize(
    ("cards", "comments", "middle"),
    [
        # FITS standard 4.0, 9.5: DATE-OBS is the start unless stated otherwise, BEG the start, AVG the mean time
        ({"DATE-OBS": NOON, "EXPTIME": 30.0}, {}, "2026-03-01T12:00:15"),
        ({"DATE-OBS": NOON, "EXPOSURE": "30"}, {}, "2026-03-01T12:00:15"),
        ({"DATE-OBS": NOON, "EXPTIME": 30.0}, {"DATE-OBS": "UTC of mid-exposure"}, NOON),
        ({"DATE-OBS": NOON, "EXPTIME": 30.0}, {"DATE-OBS": "end of exposure"}, "2026-03-01T11:59:45"),
        ({"DATE-OBS": "2026-03-01T05:00:00-0700", "EXPTIME": 30.0}, {"DATE-OBS": "LT"}, "2026-03-01T12:00:15"),
        ({"DATE-OBS": "2026-03-01", "TIME-OBS": "12:00:00", "EXPTIME": 4}, {}, "2026-03-01T12:00:02"),
        ({"DATE-OBS": "2026-03-01", "UT": "12:00:00.5", "EXPTIME": 4}, {}, "2026-03-01T12:00:02.5"),
        ({"DATE-BEG": NOON, "XPOSURE": 30.0, "DATE-OBS": "2020-01-01T00:00:00"}, {}, "2026-03-01T12:00:15"),
        ({"DATE-BEG": NOON, "DATE-END": "2026-03-01T12:00:10"}, {}, "2026-03-01T12:00:05"),
        ({"DATE-AVG": NOON, "DATE-OBS": "2020-01-01T00:00:00", "EXPTIME": 30.0}, {}, NOON),
        ({"MJD-OBS": 61100.5, "EXPTIME": 30.0}, {}, "2026-03-01T12:00:15"),
        ({"MJD-AVG": 61100.5, "EXPTIME": 30.0}, {}, NOON),
        ({"MJD-BEG": 61100.5, "MJD-END": 61100.75}, {}, "2026-03-01T15:00:00"),
        ({"UT-OBS": "2026-03-01T12:00:00.000-0000", "EXPTIME": 30.0}, {}, "2026-03-01T12:00:15"),
        ({"DATE-OBS": "nonsense", "MJD-OBS": 61100.5, "EXPTIME": 30.0}, {}, "2026-03-01T12:00:15"),
    ],
)  # fmt: skip
def test_the_middle_of_the_exposure(cards: dict[str, Any], comments: dict[str, str], middle: str) -> None:
    found = facts(cards, comments)
    assert abs(seconds_from(found, middle)) < 1e-4  # MJD in one double: 40 us
    assert found.utc_mid is not None and found.utc_mid.source.startswith("FITS header ")


@pytest.mark.parametrize("scale", ["tai", "tt", "tdb"])
def test_other_time_scales_agree_with_astropy(scale: str) -> None:
    found = facts({"DATE-OBS": NOON, "EXPTIME": 0.0, "TIMESYS": scale.upper()})
    assert abs(seconds_from(found, NOON, scale)) < 0.003


def test_gps_time_and_an_unknown_scale() -> None:
    """GPS time is TAI - 19 s (IS-GPS-200), in 2026 UTC + 18 s."""
    assert abs(seconds_from(facts({"DATE-OBS": NOON, "EXPTIME": 0.0, "TIMESYS": "GPS"}), NOON) + 18.0) < 1e-5
    found = facts({"DATE-OBS": NOON, "EXPTIME": 0.0, "TIMESYS": "LMST"})
    assert abs(seconds_from(found, NOON)) < 1e-5
    assert any("TIMESYS" in warning for warning in found.warnings)


def test_local_time_needs_an_offset_and_is_not_guessed() -> None:
    cards, comments = {"DATE-OBS": NOON, "EXPTIME": 0.0}, {"DATE-OBS": "local time at start"}
    found = facts(cards, comments)
    assert found.utc_mid is None and found.time_withheld
    stated = facts(cards, comments, offset_hours=2.0)
    assert abs(seconds_from(stated, "2026-03-01T10:00:00")) < 1e-5
    assert stated.utc_mid is not None and "taken as +2 h from UTC" in stated.utc_mid.source


def test_without_an_exposure_the_start_is_taken_with_a_warning() -> None:
    found = facts({"DATE-OBS": NOON})
    assert abs(seconds_from(found, NOON)) < 1e-5
    assert any("No exposure time" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("cards", "pixel_um", "warned"),
    [
        ({"XPIXSZ": 4.5}, 4.5, False),
        ({"XPIXSZ": 4.5, "XBINNING": 1}, 4.5, False),
        ({"XPIXSZ": 9.0, "XBINNING": 2}, 9.0, True),  # the convention: after binning
        ({"XPIXSZ": 2.5, "XBINNING": 2}, 5.0, False),  # no photosite is 1.25 um
        ({"XPIXSZ": 4.0, "XBINNING": 2, "FOCALLEN": 400, "SCALE": 4.13}, 8.0, False),  # 206.265 * 8.0 / 400
        ({"XPIXSZ": 8.0, "XBINNING": 2, "FOCALLEN": 400, "SCALE": 4.13}, 8.0, False),
        ({"PIXSIZE1": 5.5}, 5.5, False),
        ({"XPIXSZ": -1.0}, None, True),
        ({"XPIXSZ": "wide"}, None, True),
        ({"XPIXSZ": float("nan"), "PIXSIZE1": 5.5}, 5.5, True),
    ],
)
def test_pixel_size_and_binning(cards: dict[str, Any], pixel_um: float | None, warned: bool) -> None:
    found = facts(cards)
    assert (found.pixel_size_um.value if found.pixel_size_um else None) == pytest.approx(pixel_um)
    assert bool(found.warnings) == warned


def test_scale_from_keywords_and_wcs() -> None:
    found = facts({"IM_SCALE": 5.21})
    assert found.scale_arcsec_px is not None and found.scale_arcsec_px.value == 5.21
    wcs = Header({"CTYPE1": "RA---TAN", "CD1_1": -0.001, "CD1_2": 0.0005, "CD2_1": 0.0005, "CD2_2": 0.001}, {})
    scale = facts_from_header(wcs, None, (500, 650)).scale_arcsec_px
    assert scale is not None and scale.value == pytest.approx(3600 * (1e-6 + 0.25e-6) ** 0.5)
    assert facts({"CDELT1": 0.001}).scale_arcsec_px is None, "an axis of unknown kind"


def test_a_header_that_contradicts_itself_is_reported() -> None:
    found = facts({"FOCALLEN": 200, "XPIXSZ": 4.0, "SCALE": 2.0})
    assert any("contradicts itself" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("cards", "lat", "lon", "elev"),
    [
        ({"SITELAT": 47.5, "SITELONG": 11.25, "SITEELEV": 650.0}, 47.5, 11.25, 650.0),
        ({"SITELAT": "+47 30 00", "SITELONG": "11 15 00"}, 47.5, 11.25, 0.0),
        ({"SITELAT": "47:30:00 N", "SITELONG": "11:15:00 W"}, 47.5, -11.25, 0.0),
        ({"SITELAT": "S33.5", "SITELONG": "E 158.5"}, -33.5, 158.5, 0.0),
        ({"SITELAT": "-00 30 00", "SITELONG": "-000 15 00"}, -0.5, -0.25, 0.0),
        ({"SITELAT": "51d30m00s", "SITELONG": 358.75}, 51.5, -1.25, 0.0),
        ({"LAT-OBS": 47.5, "LONG-OBS": 11.25, "ALT-OBS": 650.0}, 47.5, 11.25, 650.0),
        ({"OBSGEO-B": 47.5, "OBSGEO-L": 11.25, "OBSGEO-H": 65.0, "SITELAT": 1.0, "SITELONG": 2.0}, 47.5, 11.25, 65.0),
    ],
)  # fmt: skip
def test_site(cards: dict[str, Any], lat: float, lon: float, elev: float) -> None:
    site = facts(cards).site
    assert site is not None
    assert (site.value.lat_deg, site.value.lon_deg, site.value.elev_m) == pytest.approx((lat, lon, elev))


def test_geocentric_site_agrees_with_astropy() -> None:
    place = EarthLocation.from_geodetic(11.25, 47.5, 650.0)
    x, y, z = (float(c.value) for c in place.geocentric)
    site = facts({"OBSGEO-X": x, "OBSGEO-Y": y, "OBSGEO-Z": z}).site
    assert site is not None
    assert (site.value.lat_deg, site.value.lon_deg) == pytest.approx((47.5, 11.25), abs=1e-9)
    assert site.value.elev_m == pytest.approx(650.0, abs=1e-5)
    assert facts({"OBSGEO-X": 1.0, "OBSGEO-Y": 1.0, "OBSGEO-Z": 1.0}).site is None


@pytest.mark.parametrize(
    "cards",
    [
        {"SITELAT": 95.0, "SITELONG": 11.0}, {"SITELAT": 0.0, "SITELONG": 0.0}, {"SITELAT": 47.5},
        {"SITELAT": "north", "SITELONG": "east"}, {"SITELAT": float("nan"), "SITELONG": 11.0},
        {"SITELAT": True, "SITELONG": 11.0}, {"SITELAT": "-47 30 N", "SITELONG": 11.0},
        {"SITELAT": "", "SITELONG": ""}, {"SITELAT": "47 75 00", "SITELONG": 11.0},
    ],
)  # fmt: skip
def test_nonsense_is_no_site(cards: dict[str, Any]) -> None:
    assert facts(cards).site is None


def test_a_longitude_counted_to_the_west_is_found_out() -> None:
    """By the time zone in the date, and by the hour angle of the pointing (values of a real frame, 110.88 W)."""
    place = {"LATITUDE": 31.68, "LONGITUD": 110.88, "EXPTIME": 60.0}
    by_zone = facts({**place, "DATE-OBS": "2017-12-19T18:33:43.317-0700"})
    by_hour_angle = facts({**place, "DATE-OBS": "2017-12-20T01:33:43.317", "RA": 31.312099, "HA": 330.063740})
    for found in (by_zone, by_hour_angle):
        assert found.site is not None and found.site.value.lon_deg == -110.88
        assert any("to the west" in warning for warning in found.warnings)
    without = facts({**place, "DATE-OBS": "2017-12-20T01:33:43.317"})
    assert without.site is not None and without.site.value.lon_deg == 110.88
    astray = facts({**place, "LONGITUD": 20.0, "DATE-OBS": "2017-12-19T18:33:43.317-0700"})
    assert any("check the site" in warning for warning in astray.warnings)


WEST = {"SITELAT": "+31 40 49", "SITELONG": "110 52 42"}  # of the same frame, in sexagesimal text


@pytest.mark.parametrize(
    ("witness", "comments"),
    [
        ({"LST": "00:05:30"}, {}),
        ({"RA": "02:05:14.9", "HA": "-01:59:45"}, {}),
        ({"OBJCTRA": "02 05 14.9", "TELEHA": "22 00 15"}, {}),
        ({"ST": 0.09167}, {"ST": "[hours] local sidereal time"}),
    ],
)
def test_the_sidereal_time_tells_where_east_is(witness: dict[str, Any], comments: dict[str, str]) -> None:
    """Stated, or made of hour angle and right ascension: 110.88 W, as the hour angle in degrees says above."""
    found = facts({**WEST, **witness, "DATE-OBS": "2017-12-20T01:33:43.317", "EXPTIME": 60.0}, comments)
    assert found.site is not None and found.site.value.lon_deg == pytest.approx(-110.8783, abs=1e-3)


def test_a_sidereal_time_that_may_be_degrees_tells_nothing() -> None:
    found = facts({**WEST, "ST": 12.0, "DATE-OBS": "2017-12-20T01:33:43.317"})
    assert found.site is not None and found.site.value.lon_deg == pytest.approx(110.8783, abs=1e-3)


def test_an_hour_angle_in_degrees_is_not_in_hours_by_its_name() -> None:
    """The same night later (values of a real frame): below 24 it may be either, and the time zone decides."""
    cards = {"LATITUDE": 31.68, "LONGITUD": 110.88, "RA": 31.312099, "HA": 9.045176}
    found = facts({**cards, "DATE-OBS": "2017-12-19T21:09:12.972-0700"}, {"HA": "00:36.18 Hour Angle"})
    assert found.site is not None and found.site.value.lon_deg == -110.88


def test_two_scales_that_differ_are_told() -> None:
    """The CD matrix of a binned frame beside the SECPIX of the unbinned one."""
    wcs = {"CTYPE1": "RA---TAN", "CD1_1": -5.5e-4, "CD1_2": 0.0, "CD2_1": 0.0, "CD2_2": 5.5e-4}
    assert any("1.98" in warning and "0.99" in warning for warning in facts({**wcs, "SECPIX": 0.99}).warnings)
    assert not any("contradicts" in warning for warning in facts({**wcs, "SECPIX": 1.97}).warnings)


@pytest.mark.parametrize(
    ("cards", "comments", "ra", "dec"),
    [
        ({"RA": 31.312099, "DEC": 46.769087}, {}, 31.312099, 46.769087),
        ({"RA": "02 05 14.9", "DEC": "+46 46 08"}, {}, 31.3120833, 46.7688889),
        ({"RA": "02:05:14.9", "DEC": "-46:46:08"}, {}, 31.3120833, -46.7688889),
        ({"RA": "31.312099", "DEC": "46.769087"}, {}, 31.312099, 46.769087),
        ({"RA": 2.0874733, "DEC": 46.769087}, {"RA": "[hours] telescope"}, 31.3121, 46.769087),
        ({"OBJCTRA": "02 05 14.9", "OBJCTDEC": "-00 46 08"}, {}, 31.3120833, -0.7688889),
        ({"RA": 400.0, "DEC": 46.0, "OBJCTRA": "02 05 14.9", "OBJCTDEC": "+46 46 08"}, {}, 31.3120833, 46.7688889),
    ],
)
def test_pointing(cards: dict[str, Any], comments: dict[str, str], ra: float, dec: float) -> None:
    pointing = facts(cards, comments).pointing
    assert pointing is not None
    assert (pointing.value.ra_deg, pointing.value.dec_deg) == pytest.approx((ra, dec), abs=1e-4)


@pytest.mark.parametrize(
    "cards",
    [
        {"RA": 0.0, "DEC": 0.0}, {"RA": 31.0}, {"RA": "25 00 00", "DEC": "+10 00 00"}, {"RA": 31.0, "DEC": 91.0},
        {"RA": "unknown", "DEC": "unknown"}, {"RA": float("inf"), "DEC": 1.0}, {"OBJCTRA": "", "OBJCTDEC": ""},
    ],
)  # fmt: skip
def test_nonsense_is_no_pointing(cards: dict[str, Any]) -> None:
    assert facts(cards).pointing is None


@pytest.mark.parametrize("pixel", [(325.5, 250.5), (1.0, 1.0), (900.0, -300.0)])
def test_the_centre_of_a_header_wcs_agrees_with_astropy(pixel: tuple[float, float]) -> None:
    cards: dict[str, Any] = {
        "CTYPE1": "RA---TAN", "CTYPE2": "DEC--TAN", "CRVAL1": 83.8, "CRVAL2": 72.4, "CRPIX1": pixel[0],
        "CRPIX2": pixel[1], "CD1_1": -0.0030, "CD1_2": 0.0011, "CD2_1": 0.0011, "CD2_2": 0.0030,
    }  # fmt: skip
    wcs = WCS(naxis=2)
    wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = ["RA---TAN", "DEC--TAN"], [83.8, 72.4], list(pixel)
    wcs.wcs.cd = [[-0.0030, 0.0011], [0.0011, 0.0030]]
    ra, dec = wcs.all_pix2world(325.5, 250.5, 1)
    pointing = facts_from_header(Header(cards, {}), None, (500, 650)).pointing
    assert pointing is not None
    assert (pointing.value.ra_deg, pointing.value.dec_deg) == pytest.approx((float(ra), float(dec)), abs=1e-9)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12 30 36", 12.51), ("12:30:36.0", 12.51), ("-0 30", -0.5), ("12h30m36s", 12.51), ("51°30'36\"", 51.51),
        ("7", 7.0), ("12 30.5", 12.508333), ("12 60 00", None), ("", None), ("a b c", None), ("1 2 3 4", None),
    ],
)  # fmt: skip
def test_sexagesimal(text: str, value: float | None) -> None:
    assert sexagesimal(text) == (pytest.approx(value, abs=1e-6) if value is not None else None)


@pytest.mark.parametrize(
    ("card", "value"),
    [
        ("                   T / yes", True), (" 650 / width", 650), ("  1.5D3", 1500.0), ("-1E-3/x", -0.001),
        ("'it''s   ' / text", "it's"), ("'' / empty", ""), (" nonsense", "nonsense"), ("   / nothing", None),
        ("  2000.0 / Epoch", 2000.0), ("'open", "'open"),
    ],
)  # fmt: skip
def test_card_values_of_fits_standard_section_4_2(card: str, value: Any) -> None:
    parsed = parse_value(card)
    assert (parsed[0] if parsed else None) == value


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("FF_XX_20230319_031241_804_0598784.fits", "2023-03-19T03:12:41.804"),
        ("2019-07-29T204726_Alt40.tiff", "2019-07-29T20:47:26"),
        ("sky 2026-03-01 20-15-30.png", "2026-03-01T20:15:30"),
        ("20260301_201530.fits", "2026-03-01T20:15:30"),
    ],
)
def test_time_from_the_file_name(name: str, text: str) -> None:
    found, expected = time_from_name(name), Time(text)
    assert found is not None
    assert abs(found.seconds_since(Utc(expected.jd1, expected.jd2))) < 1e-5


@pytest.mark.parametrize(
    "name",
    ["frame_0001.fits", "20261301_000000.fits", "20260301_256000.fits", "120260301_201530.fits", "IMG_20260301.fits",
     "20260301_201530_to_20260301_201540.fits"],
)  # fmt: skip
def test_no_time_in_the_file_name(name: str) -> None:
    assert time_from_name(name) is None


def test_the_files_own_time_comes_last_with_a_warning() -> None:
    middle, warning, by_file = fallback_time("frame.fits", 1_000_000_000.0, 30.0)
    assert by_file
    assert middle is not None and "modification time" in middle.source and "modification time" in warning
    expected = Time("2001-09-09T01:46:25")
    assert abs(middle.value.seconds_since(Utc(expected.jd1, expected.jd2))) < 1e-5
    assert fallback_time("frame.fits", 1e30, 0.0)[0] is None
