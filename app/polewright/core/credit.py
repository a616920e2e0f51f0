"""Whose work the program stands on: libraries and data sets, each with the licence it is given under."""

from __future__ import annotations

import re
from dataclasses import dataclass

NOT_STATED = "not stated"  # in the place of an expression: names no licence
_SUFFIX = re.compile(r"-(only|or-later)$")


@dataclass(frozen=True)
class Part:
    """Somebody else's work inside a library. `licence` is an SPDX expression, as everywhere here."""

    name: str
    licence: str


@dataclass(frozen=True)
class Library:
    """One library as installed; `source` is its home by its own metadata ("" where it names none)."""

    name: str
    version: str
    licence: str
    source: str
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True)
class DataSet:
    """One source of data with the words that its licence, or good custom, asks for."""

    name: str
    licence: str
    credit: str


@dataclass(frozen=True)
class Credits:
    """Everything that is owed a word of thanks."""

    version: str
    data: tuple[DataSet, ...]
    libraries: tuple[Library, ...]


def licence_ids(expression: str) -> tuple[str, ...]:
    """The licences and exceptions that an SPDX expression names, without "-only" and "-or-later".

    None for NOT_STATED.
    """
    if expression == NOT_STATED:
        return ()
    words = expression.replace("(", " ").replace(")", " ").split()
    return tuple(_SUFFIX.sub("", word) for word in words if word not in ("AND", "OR", "WITH"))


def owed(credits: Credits) -> tuple[str, ...]:
    """Every licence that anything here is given under, by name."""
    expressions = [d.licence for d in credits.data]
    for library in credits.libraries:
        expressions += [library.licence, *(part.licence for part in library.parts)]
    return tuple(sorted({name for expression in expressions for name in licence_ids(expression)}))
