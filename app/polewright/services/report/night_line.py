"""A recorded night in a line: for the list of all nights. Reads the alignment alone, not the imaging run after it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.errors import PolewrightError
from polewright.core.model import Site, Utc
from polewright.core.offset import Offset
from polewright.services.night_log import read_opening
from polewright.services.program_log import LOG
from polewright.services.report.earlier import MOST_BYTES
from polewright.services.report.facts import EVENT_KIND, NightFacts, gather

MOST_PLACES = 60  # of the trail in the small picture (chosen: more lie on each other)


@dataclass(frozen=True)
class NightLine:
    """`minutes`: until it was aligned, None if it never was. `trail`: (east, up), arcmin, oldest first.

    `problem`: why nothing is known of the night; everything else is empty then.
    """

    folder: Path
    began: Utc | None = None
    site: Site | None = None
    rig: str = ""
    proved: bool = False
    accepted: bool = False
    first: Offset | None = None
    last: Offset | None = None
    minutes: float | None = None
    tolerance_rad: float = 0.0
    trail: tuple[tuple[float, float], ...] = ()
    problem: str = ""


def night_line(folder: Path) -> NightLine:
    """What the record in `folder` says of its alignment; whatever is wrong with it is said in the line."""
    try:
        facts = gather(read_opening(folder, (EVENT_KIND,), MOST_BYTES), folder.name)
    except PolewrightError as error:
        return NightLine(folder, problem=str(error))
    except Exception as error:  # one damaged record may not hide the others
        LOG.warning("the night in %s cannot be summed up", folder, exc_info=error)
        return NightLine(folder, problem="Its record is damaged.")
    return _line(folder, facts)


def _line(folder: Path, facts: NightFacts) -> NightLine:
    places = [(r.offset.east_rad * ARCMIN_PER_RAD, r.offset.up_rad * ARCMIN_PER_RAD) for r in facts.readings]
    return NightLine(
        folder,
        facts.started,
        facts.site,
        facts.rig,
        facts.proved,
        facts.accepted,
        None if facts.first is None else facts.first.offset,
        facts.final,
        None if facts.aligned_s is None else facts.aligned_s / 60.0,
        facts.tolerance_rad,
        tuple(places[:: max(1, -(-len(places) // MOST_PLACES))] + places[-1:]),
    )
