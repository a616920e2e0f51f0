"""Time text and scales, against astropy.time.Time as an independent oracle (it parses and formats by itself)."""

from __future__ import annotations

import math
from datetime import datetime
from fractions import Fraction

import pytest
from astropy.time import Time
from hypothesis import given
from hypothesis import strategies as st

from iso_time import utc_from_iso
from polewright.core.errors import UsageError
from polewright.core.model import Utc
from polewright.core.sky.timescales import (
    greenwich_mean_sidereal_rad,
    iso_text,
    julian_epoch_year,
    mjd,
    parse_iso,
    unix_seconds,
    utc_from_calendar,
    utc_from_mjd,
    utc_from_tai,
    utc_from_tt,
    utc_from_unix,
)

MILLISECOND_DAYS = 1e-3 / 86400.0


def astropy_utc(text: str, scale: str = "utc") -> Utc:
    time = Time(text, scale=scale).utc
    return Utc(time.jd1, time.jd2)


@pytest.mark.parametrize(
    ("text", "utc_text"),
    [
        ("2017-12-20T01:33:43.317", "2017-12-20T01:33:43.317"),
        ("2017-12-19T18:33:43.317-0700", "2017-12-20T01:33:43.317"),
        ("2017-12-19T18:33:43.317-07:00", "2017-12-20T01:33:43.317"),
        ("2026-01-01T00:15:00+05:45", "2025-12-31T18:30:00"),
        ("2026-01-01T00:15:00+02", "2025-12-31T22:15:00"),
        ("2026-01-01T00:15:00Z", "2026-01-01T00:15:00"),
        (" 2026-01-01 00:15:00.123456 ", "2026-01-01T00:15:00.123456"),
        ("2026-01-01T00:15", "2026-01-01T00:15:00"),
        ("2026-01-01", "2026-01-01T00:00:00"),
        ("2016-12-31T23:59:60.5", "2016-12-31T23:59:60.5"),
        ("2023-03-19T03:12:41,804", "2023-03-19T03:12:41.804"),
    ],
)
def test_iso_text_is_read_as_astropy_reads_it(text: str, utc_text: str) -> None:
    assert abs(utc_from_iso(text).seconds_since(astropy_utc(utc_text))) < 1e-6


@pytest.mark.parametrize(
    "text",
    [
        "", "yesterday", "2026-13-01T00:00:00", "2026-02-30T00:00:00", "2026-01-01T25:00:00", "2026-01-01T12:61:00",
        "2025-12-31T23:59:60", "0000-01-01", "1858-11-17T00:00:00", "20260101T000000", "2026-01-01T00:00:00+99:00",
        "2026-01-01T00:00:00 EST", "２026-01-01T00:00:00", "01/02/26", "2026-01-01T00:00:00.", "2026-01-01T00:00:-1",
    ],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        utc_from_iso(text)


def test_a_stated_offset_is_reported_and_beats_the_assumed_one() -> None:
    stated = parse_iso("2026-01-01T00:00:00-0330", assumed_offset_hours=9.0)
    assert stated.utc_offset_hours == -3.5
    assert stated.utc == utc_from_iso("2026-01-01T03:30:00")
    assumed = parse_iso("2026-01-01T09:00:00", assumed_offset_hours=9.0)
    assert assumed.utc_offset_hours is None
    assert abs(assumed.utc.seconds_since(utc_from_iso("2026-01-01T00:00:00"))) < 1e-6


@given(st.floats(min_value=0.0, max_value=4.2e9))
def test_unix_seconds_come_back_and_agree_with_astropy(seconds: float) -> None:
    utc = utc_from_unix(seconds)
    assert unix_seconds(utc) == pytest.approx(seconds, abs=1e-6)
    # a second may be a leap-second day's stretched one in astropy's quasi-JD, never more
    assert abs((utc.jd1 - 2440587.5) + utc.jd2 - seconds / 86400.0) < 1e-9


def test_unix_seconds_of_a_known_instant() -> None:
    """POSIX.1-2017, 4.16: 2001-09-09T01:46:40Z is 10^9 s since the Epoch."""
    assert iso_text(utc_from_unix(1e9)) == "2001-09-09T01:46:40.000Z"


@given(st.floats(min_value=37000.0, max_value=90000.0))
def test_mjd_comes_back_and_agrees_with_astropy(value: float) -> None:
    utc = utc_from_mjd(value)
    assert mjd(utc) == pytest.approx(value, abs=1e-10)
    assert utc.jd1 == math.floor(value) + 2400000.5


@pytest.mark.parametrize("text", ["1999-12-31T23:59:59.9996", "2016-12-31T23:59:60.25", "2026-06-30T12:00:00.0004"])
@pytest.mark.parametrize("decimals", [0, 3, 6])
def test_text_is_written_as_astropy_writes_it(text: str, decimals: int) -> None:
    expected = Time(text, scale="utc", precision=decimals).isot + "Z"
    assert iso_text(astropy_utc(text), decimals) == expected


@given(st.datetimes(min_value=datetime(1961, 1, 1), max_value=datetime(2099, 1, 1)))
def test_text_comes_back(moment: datetime) -> None:
    text = moment.isoformat(timespec="milliseconds") + "Z"
    assert iso_text(utc_from_iso(text)) == text


def test_julian_epoch_agrees_with_astropy() -> None:
    text = "2026-08-12T03:04:05"
    assert julian_epoch_year(astropy_utc(text)) == pytest.approx(Time(text, scale="utc").jyear, abs=3e-6)
    assert julian_epoch_year(Utc(2451545.0, 0.0)) == 2000.0


@pytest.mark.parametrize("text", ["2015-06-30T23:59:30", "2017-01-01T00:00:10", "2026-03-04T05:06:07.5"])
def test_tai_and_tt_agree_with_astropy(text: str) -> None:
    tai, tt = Time(text, scale="tai"), Time(text, scale="tt")
    assert abs(utc_from_tai(Utc(tai.jd1, tai.jd2)).seconds_since(Utc(tai.utc.jd1, tai.utc.jd2))) < 1e-6
    assert abs(utc_from_tt(Utc(tt.jd1, tt.jd2)).seconds_since(Utc(tt.utc.jd1, tt.utc.jd2))) < 1e-6


def test_mean_sidereal_time_of_meeus_example_12a() -> None:
    """Meeus, Astronomical Algorithms, 2nd ed., example 12.a: 1987 April 10, 0h UT1: 13h 10m 46.3668s."""
    gmst_s = greenwich_mean_sidereal_rad(utc_from_calendar(1987, 4, 10)) / (2.0 * math.pi) * 86400.0
    assert gmst_s == pytest.approx(13 * 3600 + 10 * 60 + 46.3668, abs=0.02)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1e12, 1e12])
def test_numbers_out_of_range_are_refused(bad: float) -> None:
    with pytest.raises(UsageError):
        utc_from_mjd(bad)
    with pytest.raises(UsageError):
        utc_from_unix(bad)


def test_a_year_beyond_the_leap_second_table_needs_no_warning() -> None:
    """Warnings are errors here: ERFA's "dubious year" must not come out."""
    assert iso_text(utc_from_iso("2045-01-01T00:00:00")) == "2045-01-01T00:00:00.000Z"


@given(st.floats(0.0, 0.9999999), st.floats(-3.0e5, 3.0e5))
def test_whole_days_are_carried_and_nothing_is_lost(jd2: float, seconds: float) -> None:
    """In the exact arithmetic of the Python standard library's fractions."""
    later = Utc(2461100.5, jd2).plus_seconds(seconds)
    assert 0.0 <= later.jd2 <= 1.0 and later.jd1 % 1.0 == 0.5
    exact = Fraction(2461100.5) + Fraction(jd2) + Fraction(seconds) / 86400
    assert abs(Fraction(later.jd1) + Fraction(later.jd2) - exact) * 86400 < Fraction(1, 10**9)


def test_instants_before_and_after_midnight_stand_in_order() -> None:
    before = utc_from_iso("2026-03-01T23:59:50")
    after = utc_from_iso("2026-03-02T00:00:05")
    moments = [before, after.plus_seconds(-10.0), after, before.plus_seconds(20.0)]
    assert sorted(moments) == moments
    assert iso_text(before.plus_seconds(20.0)) == "2026-03-02T00:00:10.000Z"
