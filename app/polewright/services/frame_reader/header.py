"""FITS-style header values with typed look-ups: what is of the wrong kind or nonsense is left out with a warning."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from polewright.core.model import Sourced
from polewright.words import files

HeaderValue = bool | int | float | str

SEXAGESIMAL = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<a>\d{1,3})(?:\s*[:\sdh°]\s*(?P<b>\d{1,2}(?:\.\d*)?)(?:\s*[:\sm'′]\s*(?P<c>\d{1,2}(?:\.\d*)?))?\s*[s\"″m'′]?)?",
    re.ASCII | re.IGNORECASE,
)


class Header:
    """Keyword -> value and comment; remembers in `warnings` what could not be believed."""

    def __init__(
        self, values: Mapping[str, HeaderValue], comments: Mapping[str, str], origin: str = "header"
    ) -> None:
        self._values = dict(values)
        self._comments = dict(comments)
        self._origin = origin
        self.warnings: list[str] = []

    def __contains__(self, name: str) -> bool:
        return name in self._values

    def names(self) -> list[str]:
        """The keywords in file order."""
        return list(self._values)

    def above(self, other: Header) -> Header:
        """This header with what only `other` (the primary header of the file) says."""
        values = {**other._values, **self._values}
        comments = {**other._comments, **self._comments}
        return Header(values, comments, self._origin)

    def raw(self, name: str) -> HeaderValue | None:
        """The value as it stands."""
        return self._values.get(name)

    def comment(self, name: str) -> str:
        return self._comments.get(name, "")

    def source(self, *names: str) -> str:
        """Words for where a value came from."""
        return f"{self._origin} {' and '.join(names)}"

    def distrust(self, name: str, why: str) -> None:
        """Note that the value of `name` is not used."""
        self.warnings.append(files.ignored(self._origin, name, str(self.raw(name)), why))

    def integer(self, name: str, default: int) -> int:
        """A structural whole number; `default` when missing or of another kind."""
        value = self.raw(name)
        if isinstance(value, bool):
            return default
        if isinstance(value, float) and value.is_integer():
            return int(value)
        return value if isinstance(value, int) else default

    def text(self, name: str) -> str | None:
        """A non-empty string, with what cannot be printed left out."""
        value = self.raw(name)
        if not isinstance(value, str):
            return None
        text = "".join(c for c in value if c.isprintable()).strip()
        return text or None

    def number(self, name: str, low: float, high: float) -> float | None:
        """A finite number in low..high, also when written as text; else None, with a warning if there is a value."""
        value = self.raw(name)
        if value is None or value == "":
            return None
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (ValueError, OverflowError):
            number = math.nan
        if not math.isfinite(number):
            self.distrust(name, "it is not a number")
            return None
        if not low <= number <= high:
            self.distrust(name, f"it is not between {low:g} and {high:g}")
            return None
        return number

    def first_number(self, names: tuple[str, ...], low: float, high: float) -> Sourced[float] | None:
        """The first believable number among `names`."""
        for name in names:
            number = self.number(name, low, high)
            if number is not None:
                return Sourced(number, self.source(name))
        return None


def sexagesimal(text: str) -> float | None:
    """`[+-]a b c` (between them colons, blanks or unit letters) as a + b/60 + c/3600; None for anything else."""
    found = SEXAGESIMAL.fullmatch(text.strip())
    if found is None:
        return None
    a, b, c = (float(found[part] or 0.0) for part in "abc")
    if b >= 60.0 or c >= 60.0:
        return None
    return math.copysign(a + b / 60.0 + c / 3600.0, -1.0 if found["sign"] == "-" else 1.0)
