"""The time of a frame whose header has none: from the file's name, else from its modification time."""

from __future__ import annotations

import re

from polewright.core.errors import UsageError
from polewright.core.model import Sourced, Utc
from polewright.core.sky.timescales import parse_iso, utc_from_unix
from polewright.words import files

NAME_TIME = re.compile(
    r"(?<!\d)((?:19|20)\d\d)-?(\d\d)-?(\d\d)[T_ -](\d\d)[-:_.]?(\d\d)[-:_.]?(\d\d)(?:[._](\d{3}))?(?!\d)", re.ASCII
)


def time_from_name(name: str) -> Utc | None:
    """The one date and time in `name` (YYYYMMDD_hhmmss[_mmm] or ISO with any separators); None if none or two."""
    found = NAME_TIME.findall(name)
    if len(found) != 1:
        return None
    year, month, day, hour, minute, second, thousandths = found[0]
    try:
        return parse_iso(f"{year}-{month}-{day}T{hour}:{minute}:{second}.{thousandths or '0'}").utc
    except UsageError:
        return None


def fallback_time(name: str, modified_s: float, exposure_s: float) -> tuple[Sourced[Utc] | None, str, bool]:
    """Mid-exposure, the warning that goes with it, and whether it is the file's own time.

    A name is taken to hold the start of the exposure in UTC; a file is written when its exposure is over.
    """
    named = time_from_name(name)
    if named is not None:
        middle = Sourced(named.plus_seconds(0.5 * exposure_s), "file name, taken as UTC")
        return middle, files.TIME_BY_NAME, False
    written = file_time(modified_s)
    if written is None:
        return None, files.NO_TIME_AT_ALL, False
    middle = Sourced(written.plus_seconds(-0.5 * exposure_s), "modification time of the file")
    return middle, files.TIME_BY_FILE, True


def file_time(modified_s: float) -> Utc | None:
    """The modification time (POSIX seconds) as UTC; None when it makes no sense."""
    try:
        return utc_from_unix(modified_s)
    except UsageError:
        return None
