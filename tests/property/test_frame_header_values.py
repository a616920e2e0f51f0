"""Whatever stands in a header, facts come out: believable, or left out."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from polewright.services.frame_reader.fits_structure import parse_value
from polewright.services.frame_reader.header import Header, sexagesimal
from polewright.services.frame_reader.header_facts import facts_from_header

KEYS = [
    "DATE-OBS", "DATE-BEG", "DATE-END", "DATE-AVG", "MJD-OBS", "TIME-OBS", "TIMESYS", "EXPTIME", "FOCALLEN", "XPIXSZ",
    "XBINNING", "SCALE", "SITELAT", "SITELONG", "SITEELEV", "OBSGEO-B", "OBSGEO-L", "OBSGEO-X", "OBSGEO-Y",
    "OBSGEO-Z",
    "RA", "DEC", "HA", "OBJCTRA", "OBJCTDEC", "CTYPE1", "CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2", "CD1_1", "CD2_2",
    "CDELT1", "CDELT2", "SATURATE", "INSTRUME", "EXPOSURE", "XPOSURE", "MJD-AVG", "MJD-BEG", "MJD-END", "UT-OBS",
    "LATITUDE", "LONGITUD", "ALTITUDE", "LAT-OBS", "LONG-OBS", "OBSLAT", "OBSLONG", "PIXSIZE1", "YPIXSZ", "YBINNING",
    "PIXSCALE", "SECPIX", "FOCALLEN", "BSCALE", "BZERO", "ROWORDER", "BAYERPAT",
]  # fmt: skip
ODD_TEXTS = [
    "2026-03-01T20:00:00", "2026-03-01", "12 30 36", "+47:30:00 N", "RA---TAN", "UTC", "TT", "1e400", "01/03/26",
    "2026-03-01T20:00:00+25:99", "24:00:00", "-0 0 0", "9 W", "-9 W", "\u00b5m", "\u00b0", "NaN", "inf", "-1", "1,5",
    "\x00", "\ud800", "2026-02-30T00:00:00", "2026-06-30T23:59:60",
]  # fmt: skip
ODD_COMMENTS = [
    "[m] focal length", "[mm]", "meters", "micrometres", "[um]", "hours", "degrees, west positive", "local time",
    "middle of exposure", "end", "arcmin/px", "[ms]", "milliseconds", "minutes", "\u00b5m", "radians",
]  # fmt: skip
TEXTS = st.one_of(st.text(max_size=30), st.sampled_from(ODD_TEXTS))
COMMENTS = st.one_of(st.text(max_size=20), st.sampled_from(ODD_COMMENTS))
VALUES: st.SearchStrategy[Any] = st.one_of(st.booleans(), st.integers(), st.floats(), TEXTS)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), VALUES), st.dictionaries(st.sampled_from(KEYS), COMMENTS))
def test_any_header_gives_believable_facts(values: dict[str, Any], comments: dict[str, str]) -> None:
    facts = facts_from_header(Header(values, comments), None, (500, 650))
    if facts.utc_mid is not None:
        assert 2.43e6 < facts.utc_mid.value.jd1 + facts.utc_mid.value.jd2 < 2.53e6
    if facts.exposure_s is not None:
        assert 0.0 <= facts.exposure_s.value <= 86400.0
    if facts.site is not None:
        assert abs(facts.site.value.lat_deg) <= 90.0 and abs(facts.site.value.lon_deg) <= 180.0
        assert math.isfinite(facts.site.value.elev_m)
    if facts.pointing is not None:
        assert 0.0 <= facts.pointing.value.ra_deg <= 360.0 and abs(facts.pointing.value.dec_deg) <= 90.0
    for fact in (facts.focal_length_mm, facts.pixel_size_um, facts.scale_arcsec_px):
        assert fact is None or (fact.value > 0.0 and math.isfinite(fact.value) and fact.source)


@given(st.text(alphabet=st.characters(max_codepoint=255), max_size=70))
def test_any_card_is_parsed_or_left_out(field: str) -> None:
    parsed = parse_value(field)
    assert parsed is None or isinstance(parsed[0], (bool, int, float, str))


@given(st.booleans(), st.integers(0, 359), st.integers(0, 59), st.integers(0, 5999))
def test_sexagesimal_text_comes_back(negative: bool, degrees: int, minutes: int, hundredths: int) -> None:
    text = f"{'-' if negative else '+'}{degrees}:{minutes:02d}:{hundredths / 100:05.2f}"
    value = sexagesimal(text)
    assert value is not None
    expected = degrees + minutes / 60 + hundredths / 360000
    assert math.isclose(abs(value), expected, abs_tol=1e-9)
    assert math.copysign(1.0, value) == (-1.0 if negative else 1.0)
