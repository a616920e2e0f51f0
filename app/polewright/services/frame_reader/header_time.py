"""When the middle of the exposure was, from FITS time keywords (FITS standard 4.0, section 9)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from polewright.core.errors import UsageError
from polewright.core.model import Sourced, Utc
from polewright.core.sky.timescales import GPS_MINUS_TAI_S, parse_iso, utc_from_mjd, utc_from_tai, utc_from_tt
from polewright.services.frame_reader.header import Header, sexagesimal
from polewright.words import files

EXPOSURE_KEYS = ("EXPTIME", "EXPOSURE", "XPOSURE", "EXP_TIME", "ITIME")
MAX_EXPOSURE_S = 86400.0  # chosen: a day; anything longer is a mistake in a header
CLOCK_KEYS = ("TIME-OBS", "UT-OBS", "UTC-OBS", "UTSTART", "UT", "UTC", "TIME")
LOCAL = re.compile(r"\blocal\b|\bLT\b", re.IGNORECASE)
MIDDLE = re.compile(r"\b(mid|middle|mid-?point|mid-?exposure|centre|center|average)\b", re.IGNORECASE)
END = re.compile(r"\bend\b", re.IGNORECASE)
UTC_NAMES = ("UTC", "UT", "UT1", "GMT", "Z")
TT_NAMES = ("TT", "TDT", "ET", "TDB")


@dataclass(frozen=True)
class HeaderTime:
    """`utc_offset_hours` is the offset the date states; `withheld`: a local time of unknown offset was left out."""

    utc_mid: Sourced[Utc] | None
    exposure_s: Sourced[float] | None
    utc_offset_hours: float | None
    withheld: bool


@dataclass(frozen=True)
class Stamp:
    """One keyword's instant: `place` is the fraction of the exposure it marks (0 start, 0.5 middle, 1 end)."""

    utc: Utc
    place: float
    source: str
    utc_offset_hours: float | None = None


class TimeReader:
    """Reads the stamps of one header; see `read_time`."""

    def __init__(self, header: Header, utc_offset_hours: float | None) -> None:
        self._header = header
        self._assumed_offset_hours = utc_offset_hours
        self._scale = (header.text("TIMESYS") or "UTC").upper()
        self.withheld = False
        if self._scale not in (*UTC_NAMES, *TT_NAMES, "TAI", "GPS"):
            header.distrust("TIMESYS", "this time scale is not known, UTC is assumed")
            self._scale = "UTC"

    def date(self, name: str, place: float) -> Stamp | None:
        """The instant of a DATE-xxx keyword, completed by a separate time keyword when it holds the day alone."""
        text = self._header.text(name)
        if text is None:
            return None
        source = self._header.source(name)
        if "T" not in text and ":" not in text:
            clock = self._clock_text()
            if clock is None:
                self._header.distrust(name, "it holds a day but no time")
                return None
            text, source = f"{text.strip()}T{clock[0]}", self._header.source(name, clock[1])
        try:
            found = parse_iso(text, scale=self._scale if self._scale in ("TAI", "TT") else "UTC")
            if found.utc_offset_hours is None and self._is_local(name):
                if self._assumed_offset_hours is None:
                    self.withheld = True
                    self._header.distrust(name, "it is local time and nothing says how far that is from UTC")
                    return None
                found = parse_iso(text, self._assumed_offset_hours)
                source += f", local time, taken as {self._assumed_offset_hours:+g} h from UTC"
        except UsageError as error:
            self._header.distrust(name, str(error).rstrip("."))
            return None
        return Stamp(self._to_utc(found.utc), self._place(name, place), source, found.utc_offset_hours)

    def day_number(self, name: str, place: float) -> Stamp | None:
        """The instant of an MJD-xxx keyword."""
        number = self._header.number(name, 36934.0, 124594.0)
        if number is None:
            return None
        return Stamp(self._to_utc(utc_from_mjd(number)), self._place(name, place), self._header.source(name))

    def _is_local(self, name: str) -> bool:
        return LOCAL.search(self._header.comment(name)) is not None

    def _place(self, name: str, place: float) -> float:
        """DATE-OBS and MJD-OBS mark the start, unless their comment says otherwise."""
        if not name.endswith("-OBS"):
            return place
        comment = self._header.comment(name)
        return 0.5 if MIDDLE.search(comment) else 1.0 if END.search(comment) else place

    def _clock_text(self) -> tuple[str, str] | None:
        for name in CLOCK_KEYS:
            text = self._header.text(name)
            hours = sexagesimal(text) if text is not None else None
            if text is not None and hours is not None and 0.0 <= hours < 24.0 and text.count(":") == 2:
                return text.strip(), name
        return None

    def _to_utc(self, instant: Utc) -> Utc:
        if self._scale == "TAI":
            return utc_from_tai(instant)
        if self._scale in TT_NAMES:
            return utc_from_tt(instant)
        if self._scale == "GPS":
            return utc_from_tai(instant.plus_seconds(-GPS_MINUS_TAI_S))
        return instant


def read_time(header: Header, utc_offset_hours: float | None) -> HeaderTime:
    """Mid-exposure UTC, from the keyword that states it most directly: AVG, then BEG (with END), then OBS."""
    reader = TimeReader(header, utc_offset_hours)
    exposure = header.first_number(EXPOSURE_KEYS, 0.0, MAX_EXPOSURE_S)
    stamp = (
        reader.date("DATE-AVG", 0.5)
        or reader.day_number("MJD-AVG", 0.5)
        or reader.date("DATE-BEG", 0.0)
        or reader.day_number("MJD-BEG", 0.0)
        or reader.date("DATE-OBS", 0.0)
        or reader.date("UT-OBS", 0.0)
        or reader.day_number("MJD-OBS", 0.0)
    )
    if stamp is None:
        return HeaderTime(None, exposure, None, reader.withheld)
    if exposure is None and stamp.place == 0.0:
        exposure = _from_end(reader, stamp)
    middle = _middle(header, stamp, exposure)
    return HeaderTime(middle, exposure, stamp.utc_offset_hours, False)


def _from_end(reader: TimeReader, start: Stamp) -> Sourced[float] | None:
    """The exposure as the time from `start` to DATE-END or MJD-END."""
    end = reader.date("DATE-END", 1.0) or reader.day_number("MJD-END", 1.0)
    if end is None:
        return None
    seconds = end.utc.seconds_since(start.utc)
    if not 0.0 < seconds <= MAX_EXPOSURE_S:
        return None
    return Sourced(seconds, f"{start.source} to {end.source.rsplit(' ', 1)[-1]}")


def _middle(header: Header, stamp: Stamp, exposure: Sourced[float] | None) -> Sourced[Utc]:
    if stamp.place == 0.5:
        return Sourced(stamp.utc, f"{stamp.source} (middle of the exposure)")
    if exposure is None:
        header.warnings.append(files.no_exposure(stamp.source))
        return Sourced(stamp.utc, stamp.source)
    half = 0.5 * exposure.value
    if stamp.place == 1.0:
        return Sourced(stamp.utc.plus_seconds(-half), f"{stamp.source} - half the exposure")
    return Sourced(stamp.utc.plus_seconds(half), f"{stamp.source} + half the exposure")
