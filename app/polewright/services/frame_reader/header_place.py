"""Where the mount stands and where it points, from a FITS header."""

from __future__ import annotations

import math
import re

import erfa

from polewright.core.model import Site, SkyPosition, Sourced, Utc
from polewright.core.sky.timescales import greenwich_mean_sidereal_rad
from polewright.services.frame_reader.header import Header, sexagesimal
from polewright.words import files

SITE_KEYS = (
    ("OBSGEO-B", "OBSGEO-L", ("OBSGEO-H",)),  # FITS standard 4.0, 8.4.1: degrees, longitude east positive
    ("SITELAT", "SITELONG", ("SITEELEV", "ELEVATIO")),
    ("LAT-OBS", "LONG-OBS", ("ALT-OBS",)),
    ("OBSLAT", "OBSLONG", ("OBSELEV", "OBSALT")),
    ("LATITUDE", "LONGITUD", ("ALTITUDE", "ELEVATIO")),
)
HEIGHT_M = (-500.0, 9000.0)  # chosen: from the Dead Sea to above the highest observatories
HALF_HOUR_DEG = 7.5  # of longitude: half an hour of time
SIDEREAL_KEYS, HOUR_ANGLE_KEYS = ("LST", "ST", "SIDEREAL"), ("HA", "TELEHA", "TELHA")
RIGHT_ASCENSION_KEYS = ("RA", "TELERA", "TELRA", "OBJCTRA")
HOURS = re.compile(r"\bhours?\b(?!\W*angle)", re.IGNORECASE)  # the unit, not the name of the angle
ZONE_SLACK_DEG = 60.0  # a time zone with summer time is nowhere further from its meridian (China west: 48 degrees)
LETTER = re.compile(r"(?:^\s*([NSEW])\s*)|(?:\s*([NSEW])\s*$)")  # capitals only: a small s is a second


def angle_deg(header: Header, name: str, limit: float) -> float | None:
    """Decimal or sexagesimal degrees, with or without a letter N, S, E or W; None with a warning if nonsense."""
    value = header.raw(name)
    if not isinstance(value, str):
        return header.number(name, -limit, limit)
    text = value.strip()
    letter = LETTER.search(text)
    sign = 1.0
    if letter is not None:
        sign = -1.0 if (letter[1] or letter[2]) in "SW" else 1.0
        text = LETTER.sub("", text, count=1).strip()
    angle = _degrees(text)
    if angle is None or abs(angle) > limit or (letter is not None and angle < 0.0):
        if text:
            header.distrust(name, "it is not an angle")
        return None
    return sign * angle


def _degrees(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return sexagesimal(text)
    return number if math.isfinite(number) else None


def read_site(header: Header, utc: Utc | None, utc_offset_hours: float | None) -> Sourced[Site] | None:
    """The first complete and believable site. East is positive; `LONGITUD` and its like are checked, see `_east`."""
    for lat_key, lon_key, height_keys in SITE_KEYS:
        lat, lon = angle_deg(header, lat_key, 90.0), angle_deg(header, lon_key, 360.0)
        if lat is None or lon is None:
            continue
        if lat == 0.0 and lon == 0.0:
            header.distrust(lat_key, "latitude and longitude are both 0")
            continue
        height = header.first_number(height_keys, *HEIGHT_M)
        source = header.source(lat_key, lon_key)
        east = math.remainder(lon, 360.0)
        if not lat_key.startswith("OBSGEO"):
            east = _east(header, east, lon_key, utc, utc_offset_hours)
        return Sourced(Site(lat, east, height.value if height else 0.0), source)
    return _geocentric_site(header)


def _geocentric_site(header: Header) -> Sourced[Site] | None:
    """The site from OBSGEO-X, -Y, -Z (metres, ITRS)."""
    xyz = [header.number(name, -7e6, 7e6) for name in ("OBSGEO-X", "OBSGEO-Y", "OBSGEO-Z")]
    if any(c is None for c in xyz):
        return None
    lon, lat, height, status = erfa.ufunc.gc2gd(1, xyz)  # 1 = WGS84
    if status != 0 or not HEIGHT_M[0] <= height <= HEIGHT_M[1]:
        header.distrust("OBSGEO-X", "the point is not on the ground")
        return None
    site = Site(math.degrees(lat), math.degrees(lon), float(height))
    return Sourced(site, header.source("OBSGEO-X, OBSGEO-Y", "OBSGEO-Z"))


def _east(header: Header, lon: float, lon_key: str, utc: Utc | None, utc_offset_hours: float | None) -> float:
    """`lon`, or -lon when the header itself shows that it counts longitude to the west.

    Two witnesses: the sidereal time, stated or made of hour angle and right ascension of the pointing, and a time
    zone in the date, which gives the longitude to within ZONE_SLACK_DEG.
    """
    witness = _sidereal_longitude(header, utc)
    slack = HALF_HOUR_DEG
    if witness is None and utc_offset_hours:
        witness, slack = 15.0 * utc_offset_hours, ZONE_SLACK_DEG
    if witness is None:
        return lon
    here, mirrored = (abs(math.remainder(x - witness, 360.0)) for x in (lon, -lon))
    if here > slack and mirrored <= slack:
        header.warnings.append(files.counts_westward(header.source(lon_key), -lon))
        return -lon
    if here > slack:
        header.warnings.append(files.site_doubtful(header.source(lon_key)))
    return lon


def _sidereal_longitude(header: Header, utc: Utc | None) -> float | None:
    """East longitude, degrees, that the sidereal time of the place makes; None when the header does not tell it."""
    sidereal = _sidereal_deg(header)
    if utc is None or sidereal is None:
        return None
    return math.remainder(sidereal - math.degrees(greenwich_mean_sidereal_rad(utc)), 360.0)


def _sidereal_deg(header: Header) -> float | None:
    stated = next((turn for name in SIDEREAL_KEYS if (turn := _turn_deg(header, name)) is not None), None)
    if stated is not None:
        return stated
    ra = next((turn for name in RIGHT_ASCENSION_KEYS if (turn := _turn_deg(header, name)) is not None), None)
    hour_angle = next((turn for name in HOUR_ANGLE_KEYS if (turn := _turn_deg(header, name)) is not None), None)
    return None if ra is None or hour_angle is None else ra + hour_angle


def _turn_deg(header: Header, name: str) -> float | None:
    """Degrees of a value in hours: sexagesimal text, or a number whose comment speaks of hours; and of a number that
    can only be degrees, or is a right ascension. Any other number may be either."""
    value, comment = header.raw(name), header.comment(name)
    hours = sexagesimal(value) if isinstance(value, str) and not _is_number(value) else None
    if hours is not None:
        return 15.0 * hours if abs(hours) <= 24.0 else None
    number = _degrees(value.strip()) if isinstance(value, str) else value
    if not isinstance(number, int | float) or isinstance(number, bool) or not abs(number) <= 360.0:
        return None
    if HOURS.search(comment):
        return 15.0 * number if abs(number) <= 24.0 else None
    return float(number) if abs(number) > 24.0 or name in RIGHT_ASCENSION_KEYS else None


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def read_pointing(header: Header, shape: tuple[int, ...]) -> Sourced[SkyPosition] | None:
    """Roughly where the image centre is, for a hint: a WCS, else RA and DEC, else OBJCTRA and OBJCTDEC.

    The equinox is not applied: 50 years of precession are 0.7 degrees, and a hint may be off by that much.
    """
    return _wcs_centre(header, shape) or _pair(header, "RA", "DEC") or _pair(header, "OBJCTRA", "OBJCTDEC")


def _pair(header: Header, ra_key: str, dec_key: str) -> Sourced[SkyPosition] | None:
    if ra_key not in header or dec_key not in header:
        return None
    ra, dec = _right_ascension(header, ra_key), angle_deg(header, dec_key, 90.0)
    if ra is None or dec is None:
        return None
    if ra == 0.0 and dec == 0.0:
        header.distrust(ra_key, "right ascension and declination are both 0")
        return None
    return Sourced(SkyPosition(ra, dec), header.source(ra_key, dec_key))


def _right_ascension(header: Header, name: str) -> float | None:
    """Degrees. Sexagesimal text is hours; a number is degrees unless its comment speaks of hours."""
    value = header.raw(name)
    hours = sexagesimal(value) if isinstance(value, str) else None
    if hours is not None and isinstance(value, str) and not value.strip().lstrip("+").isdigit():
        if 0.0 <= hours < 24.0:
            return 15.0 * hours
        header.distrust(name, "it is not a right ascension in hours")
        return None
    number = header.number(name, 0.0, 360.0)
    if number is None:
        return None
    if HOURS.search(header.comment(name)) and number < 24.0:
        return 15.0 * number
    return number % 360.0


def _wcs_centre(header: Header, shape: tuple[int, ...]) -> Sourced[SkyPosition] | None:
    """Centre of the image by a TAN header (Calabretta & Greisen 2002); other projections by their tangent."""
    if not (header.text("CTYPE1") or "").startswith("RA"):
        return None
    ra0, dec0 = header.number("CRVAL1", -360.0, 360.0), header.number("CRVAL2", -90.0, 90.0)
    x0, y0 = header.number("CRPIX1", -1e5, 1e5), header.number("CRPIX2", -1e5, 1e5)
    cd = [header.number(name, -1.0, 1.0) for name in ("CD1_1", "CD1_2", "CD2_1", "CD2_2")]
    if cd[0] is None or cd[3] is None:
        cd = [header.number("CDELT1", -1.0, 1.0), 0.0, 0.0, header.number("CDELT2", -1.0, 1.0)]
    if ra0 is None or dec0 is None or x0 is None or y0 is None or cd[0] is None or cd[3] is None:
        return None
    dx, dy = (shape[-1] + 1) / 2.0 - x0, (shape[-2] + 1) / 2.0 - y0
    xi = math.radians(cd[0] * dx + (cd[1] or 0.0) * dy)
    eta = math.radians((cd[2] or 0.0) * dx + cd[3] * dy)
    a0, d0 = math.radians(ra0), math.radians(dec0)
    depth = math.cos(d0) - eta * math.sin(d0)
    ra = math.degrees(a0 + math.atan2(xi, depth)) % 360.0
    dec = math.degrees(math.atan2(math.sin(d0) + eta * math.cos(d0), math.hypot(xi, depth)))
    return Sourced(SkyPosition(ra, dec), header.source("CRVAL1", "CRVAL2"))
