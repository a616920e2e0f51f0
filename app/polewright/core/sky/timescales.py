"""Text, MJD and POSIX seconds <-> Utc, Julian epoch, other time scales, mean sidereal time.

UTC is ERFA's two-part quasi-JD: a day with a leap second is 86401 s long (SOFA Time Scale and Calendar Tools, 3.5).
The ufuncs of ERFA are called directly, because they return the status as a number; the wrappers of the same name
turn "dubious year" (a date further than five years beyond the last known leap second table) into a warning, which is
of no interest here and cannot be silenced safely in a thread.

Decided 2026-11-25. No Earth-orientation tables. With UT1-UTC and polar motion set to zero the axis is off by at
most 0.5" plus 6.5e-5 of the error itself (polar motion; the rest only turns the error vector about the pole). ERFA
is called with zeros and nothing is ever downloaded. Bundled tables were rejected: they age, and buy less than
refraction costs.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import erfa

from polewright.core.errors import UsageError
from polewright.core.model import Utc

MJD_ZERO_JD = 2400000.5  # by definition of the Modified Julian Date
UNIX_EPOCH_JD = 2440587.5  # 1970-01-01T00:00 UTC
J2000_JD = 2451545.0  # 2000-01-01T12:00 TT, by definition
GPS_MINUS_TAI_S = -19.0  # constant since 1980-01-06 (IS-GPS-200)
EARLIEST_YEAR, LATEST_YEAR = 1960, 2200  # UTC begins in 1960

ISO_PATTERN = re.compile(
    r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})"
    r"(?:[T ]\s*(?P<hour>\d{1,2}):(?P<minute>\d{1,2})(?::(?P<second>\d{1,2})(?P<fraction>[.,]\d{1,12})?)?"
    r"\s*(?P<offset>[Zz]|UTC?|[+-]\d{2}(?::?\d{2})?)?)?",
    re.ASCII,
)


@dataclass(frozen=True)
class IsoTime:
    """An instant read from text; `utc_offset_hours` is the offset the text states, None when it states none."""

    utc: Utc
    utc_offset_hours: float | None


def utc_from_calendar(
    year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: float = 0.0, scale: str = "UTC"
) -> Utc:
    """The instant of a Gregorian calendar date; UsageError when there is no such date or time of day.

    A second of 60 exists only where a leap second was. With another `scale` the result is a plain JD in it.
    """
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        raise UsageError(f"The year must lie between {EARLIEST_YEAR} and {LATEST_YEAR}, not {year}.")
    jd1, jd2, status = erfa.ufunc.dtf2d(scale, year, month, day, hour, minute, second)
    if status < 0 or status in (2, 3):  # 1 alone is "dubious year": leap seconds beyond the table, harmless
        raise UsageError(f"There is no {year:04d}-{month:02d}-{day:02d} {hour:02d}:{minute:02d}:{second:06.3f}.")
    return Utc(float(jd1), float(jd2))


def parse_iso(text: str, assumed_offset_hours: float = 0.0, scale: str = "UTC") -> IsoTime:
    """`YYYY-MM-DD[(T| )hh:mm[:ss[.fff]][Z|+hh:mm]]` as an instant; UsageError when it is anything else.

    `assumed_offset_hours` is how far the clock is ahead of UTC when the text states no offset.
    """
    found = ISO_PATTERN.fullmatch(text.strip())
    if found is None:
        raise UsageError(f"{text.strip()[:60]!r} is not a date and time like 2026-03-01T20:15:30.5+01:00.")
    part = found.groupdict(default="")
    second = float((part["second"] or "0") + (part["fraction"] or "").replace(",", "."))
    clock = utc_from_calendar(
        int(part["year"]),
        int(part["month"]),
        int(part["day"]),
        int(part["hour"] or 0),
        int(part["minute"] or 0),
        second,
        scale,
    )
    stated = _offset_hours(part["offset"]) if part["offset"] else None
    offset = stated if stated is not None else assumed_offset_hours
    return IsoTime(clock.plus_seconds(-3600.0 * offset), stated)


def _offset_hours(text: str) -> float:
    """+hh, +hhmm or +hh:mm (or Z, UT, UTC) as hours."""
    if text[0] not in "+-":
        return 0.0
    digits = text[1:].replace(":", "").ljust(4, "0")
    hours, minutes = int(digits[:2]), int(digits[2:])
    if hours > 15 or minutes > 59:
        raise UsageError(f"{text!r} is not an offset from UTC.")
    return math.copysign(hours + minutes / 60.0, -1.0 if text[0] == "-" else 1.0)


def iso_text(utc: Utc, decimals: int = 3) -> str:
    """`YYYY-MM-DDThh:mm:ss.fffZ`, rounded to `decimals` places of a second."""
    year, month, day, clock, status = erfa.ufunc.d2dtf("UTC", decimals, utc.jd1, utc.jd2)
    if status < 0:
        raise UsageError(f"{utc} is outside the calendar.")
    hour, minute, second, fraction = (int(clock[name]) for name in ("h", "m", "s", "f"))
    tail = f".{fraction:0{decimals}d}" if decimals > 0 else ""
    return f"{int(year):04d}-{int(month):02d}-{int(day):02d}T{hour:02d}:{minute:02d}:{second:02d}{tail}Z"


def utc_from_mjd(mjd: float) -> Utc:
    """The instant of a Modified Julian Date; UsageError when it is not a number between 1960 and 2200."""
    if not (math.isfinite(mjd) and 36934.0 <= mjd <= 124594.0):
        raise UsageError(f"{mjd:g} is not a Modified Julian Date between the years 1960 and 2200.")
    day = math.floor(mjd)
    return Utc(MJD_ZERO_JD + day, mjd - day)


def mjd(utc: Utc) -> float:
    """Modified Julian Date (good to about a microsecond in a double)."""
    return (utc.jd1 - MJD_ZERO_JD) + utc.jd2


def utc_from_unix(seconds: float) -> Utc:
    """The instant of POSIX seconds (leap seconds not counted); UsageError when not between 1960 and 2200."""
    if not (math.isfinite(seconds) and -3.2e8 <= seconds <= 7.3e9):
        raise UsageError(f"{seconds:g} s is not a time between the years 1960 and 2200.")
    day = math.floor(seconds / 86400.0)
    return Utc(UNIX_EPOCH_JD + day, (seconds - 86400.0 * day) / 86400.0)


def unix_seconds(utc: Utc) -> float:
    """POSIX seconds of an instant (leap seconds not counted)."""
    return ((utc.jd1 - UNIX_EPOCH_JD) + utc.jd2) * 86400.0


def julian_epoch_year(utc: Utc) -> float:
    """Julian epoch, e.g. 2026.35 (UTC stands in for TT: 69 s are 2e-6 year)."""
    return 2000.0 + ((utc.jd1 - J2000_JD) + utc.jd2) / 365.25


def utc_from_tai(tai: Utc) -> Utc:
    """`tai` (a two-part JD in TAI) as UTC."""
    jd1, jd2, _ = erfa.ufunc.taiutc(tai.jd1, tai.jd2)
    return Utc(float(jd1), float(jd2))


def utc_from_tt(tt: Utc) -> Utc:
    """`tt` (a two-part JD in TT; TDB is within 2 ms of it) as UTC."""
    jd1, jd2, _ = erfa.ufunc.tttai(tt.jd1, tt.jd2)
    return utc_from_tai(Utc(float(jd1), float(jd2)))


def greenwich_mean_sidereal_rad(utc: Utc) -> float:
    """Greenwich mean sidereal time, 0 <= gmst < 2 pi, IAU 2006 (UTC stands in for UT1 and TT: within 15")."""
    return float(erfa.ufunc.gmst06(utc.jd1, utc.jd2, utc.jd1, utc.jd2))
