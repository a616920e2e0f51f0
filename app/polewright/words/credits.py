"""Credits as they are printed, shown and written into a folder."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from polewright.core.credit import Credits, Library, licence_ids, owed

FOOT = (
    "Stars: Gaia DR3 (ESA/Gaia/DPAC), Hipparcos, Tycho-2, CC BY-SA 3.0 IGO. Licences and credits: polewright credits."
)
PRINTED = "`polewright credits` prints all of this, with what is inside each library and where it comes from."


def credit_rows(credits: Credits) -> tuple[tuple[str, str], ...]:
    """Name and licence of each data set and library, what a library contains told by its other licences."""
    data = [(data.name, data.licence) for data in credits.data]
    return (*data, *((f"{lib.name} {lib.version}", _licences(lib)) for lib in credits.libraries))


def _licences(library: Library) -> str:
    own = licence_ids(library.licence)
    others = {name: None for part in library.parts for name in licence_ids(part.licence)}
    inside = [name for name in others if name not in own and "exception" not in name]
    return library.licence + (f"; inside {', '.join(inside)}" if inside else "")


def acknowledgement(credits: Credits) -> str:
    """The words that the licence of the star data asks for."""
    return next(data.credit for data in credits.data if data.name == "Gaia DR3")


def credit_lines(credits: Credits, width: int = 100) -> list[str]:
    """Program, data sets, libraries with what is inside them, and the names of the licences owed."""
    lines = [f"Polewright {credits.version}, under the MIT licence.", "", "Data"]
    for data in credits.data:
        lines.append(f"  {data.name}: {data.licence}")
        lines += textwrap.wrap(data.credit, width, initial_indent="    ", subsequent_indent="    ")
    lines += ["", "Libraries"]
    for library in credits.libraries:
        lines += library_lines(library)
    names = ", ".join(owed(credits))
    return [*lines, "", *textwrap.wrap(f"The texts of these licences lie in resources/licences: {names}.", width)]


def library_lines(library: Library) -> list[str]:
    """One library: name, version, licence, where it comes from; below it what it contains."""
    head = f"  {library.name} {library.version}: {library.licence}"
    return [f"{head}  {library.source}".rstrip(), *(f"    {p.name}: {p.licence}" for p in library.parts)]


def texts_fact(credits: Credits) -> str:
    """The line of the doctor when every text is there."""
    return (
        f"{len(credits.libraries)} libraries, {len(owed(credits))} licences, every text is here: polewright credits."
    )


def texts_missing(missing: Sequence[str]) -> str:
    """The line of the doctor when some are not."""
    return f"The text is missing for {', '.join(missing)}."
