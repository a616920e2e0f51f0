"""Credits as they are printed, shown and written into a folder."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from polewright.core.credit import Credits, Library, owed

FOOT = (
    "Stars: Gaia DR3 (ESA/Gaia/DPAC), Hipparcos, Tycho-2, CC BY-SA 3.0 IGO. Licences and credits: polewright credits."
)


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
