"""Credits of this installation: the requirements walked to their ends, each with its licence and where it comes from.

What a licence is called in metadata is anything from an SPDX expression to a whole text, so `licences/libraries.json`
says it for each library, read off its own licence files; a library it does not know is shown by its metadata.

Decided 2026-11-29. Licences are judged by hand and checked by machine. What libraries state about their licence is
anything from an SPDX expression to nothing (sep and Qt ship no text at all). resources/licences holds one text a
licence and libraries.json, which says what each library and the parts inside it are under; tests hold it against
the libraries' own files, the doctor asks for every text, the smoke test for the owner of every shared library of a
frozen build. A list made by a tool was rejected: it repeats what metadata say.
"""

from __future__ import annotations

import json
import re
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

from polewright import __version__
from polewright.core.credit import NOT_STATED, Credits, DataSet, Library, Part, owed
from polewright.services.resources import find_resource

LICENCES = "licences"
_NAME = re.compile(r"[\w.-]+")
_HOMES = ("source", "source code", "repository", "homepage", "documentation")
DATA: tuple[DataSet, ...] = (
    DataSet(
        "Star catalogue",
        "CC-BY-SA-3.0-IGO",
        "Joined from the three catalogues that follow; what was changed stands in LICENSE-DATA.txt.",
    ),
    DataSet(
        "Gaia DR3",
        "CC-BY-SA-3.0-IGO",
        "© ESA/Gaia/DPAC. This work has made use of data from the European Space Agency (ESA) mission Gaia "
        "(https://www.cosmos.esa.int/gaia), processed by the Gaia Data Processing and Analysis Consortium (DPAC, "
        "https://www.cosmos.esa.int/web/gaia/dpac/consortium). Funding for the DPAC has been provided by national "
        "institutions, in particular the institutions participating in the Gaia Multilateral Agreement.",
    ),
    DataSet(
        "Hipparcos, the new reduction",
        "CC-BY-SA-3.0-IGO",
        "van Leeuwen F. 2007, Astronomy & Astrophysics 474, 653; ESA 1997, ESA SP-1200. In the public domain as its "
        "package states; here it is part of the joined catalogue.",
    ),
    DataSet(
        "Tycho-2",
        "BSD-2-Clause",
        "© 2000 Høg E., Fabricius C., Makarov V.V., Urban S., Corbin T., Wycoff G., Bastian U., Schwekendiek P., "
        "Wicenec A.; Astronomy & Astrophysics 355, L27.",
    ),
)


def read_credits() -> Credits:
    """The data sets, and every library that is installed here."""
    known: dict[str, Any] = json.loads(_text_file("libraries.json").read_text(encoding="utf-8"))
    return Credits(__version__, DATA, tuple(_library(d, known) for d in required_distributions()))


def required_distributions(root: str = "polewright") -> tuple[Distribution, ...]:
    """What `root` requires, and what that requires, as far as it is installed here, by name; no extras."""
    found: dict[str, Distribution] = {}
    waiting = [root]
    while waiting:
        for name in _requirements(waiting.pop()):
            if name in found:
                continue
            try:
                found[name] = distribution(name)
            except PackageNotFoundError:  # another system's, or left out of the frozen program
                continue
            waiting.append(name)
    return tuple(found[name] for name in sorted(found))


def missing_texts(credits: Credits) -> tuple[str, ...]:
    """The licences whose text does not lie beside the program."""
    folder = find_resource(LICENCES)
    there = set() if folder is None else {path.stem for path in folder.glob("*.txt") if path.stat().st_size > 0}
    return tuple(name for name in owed(credits) if name not in there)


def licence_text(name: str) -> str:
    """The text of one licence, by its SPDX name."""
    return _text_file(f"{name}.txt").read_text(encoding="utf-8")


def plain_name(name: str) -> str:
    """A distribution's name as the packaging standard compares names (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def _requirements(name: str) -> list[str]:
    found = [_NAME.match(line) for line in distribution(name).requires or [] if "extra ==" not in line]
    return [plain_name(match[0]) for match in found if match is not None]


def _library(found: Distribution, known: dict[str, Any]) -> Library:
    name = plain_name(found.metadata["Name"])
    entry = known.get(name, {})
    parts = tuple(Part(part, licence) for part, licence in entry.get("parts", {}).items())
    return Library(name, found.version, entry.get("licence", _stated_licence(found)), _home(found), parts)


def _stated_licence(found: Distribution) -> str:
    stated = _stated(found, "License-Expression") or _stated(found, "License") or [NOT_STATED]
    return stated[0].splitlines()[0]


def _home(found: Distribution) -> str:
    homes = dict(line.split(", ", 1) for line in _stated(found, "Project-URL") if ", " in line)
    by_label = {label.lower(): url for label, url in homes.items()}
    named = next((by_label[label] for label in _HOMES if label in by_label), "")
    return next(iter([named] if named else _stated(found, "Home-page")), "")


def _stated(found: Distribution, field: str) -> list[str]:
    return [str(line) for line in found.metadata.get_all(field) or () if line]


def _text_file(name: str) -> Path:
    found = find_resource(f"{LICENCES}/{name}")
    if found is None:
        raise FileNotFoundError(f"resources/{LICENCES}/{name}")
    return found
