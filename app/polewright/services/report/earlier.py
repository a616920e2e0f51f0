"""The last nights with a rig, in a line for the beginning of the next one."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from pathlib import Path

from polewright.services.night_folders import recorded_nights
from polewright.services.night_log import read_opening
from polewright.services.program_log import LOG
from polewright.services.report.facts import EVENT_KIND, NightFacts, gather
from polewright.services.report.history import HINT_NIGHTS, starting_shift
from polewright.words.numbers import duration_text

LATEST = 8  # nights looked at: the habits of last year do not matter, and reading takes time
MOST_BYTES = 3 << 20  # of what happened in a night: some two thousand frames; few alignments take as many


@dataclass(frozen=True)
class EarlierNights:
    """How many nights speak, and what they say: where to set the mount down, how long it took. "" for nothing."""

    nights: int
    words: str


def earlier_nights(root: Path, tonight: Path, rig: str) -> EarlierNights | None:
    """What the latest nights below `root` with this rig say, `tonight` left out; None when they are too few.

    Of each only the beginning is read: the imaging run of a long night fills hundreds of megabytes and tells nothing
    of the alignment before it.
    """
    found: list[NightFacts] = []
    for folder in [f for f in recorded_nights(root) if f.resolve() != tonight.resolve()][:LATEST]:
        try:
            night = gather(read_opening(folder, (EVENT_KIND,), MOST_BYTES), folder.name)
        except Exception as error:  # whatever is wrong with it: the report names it; tonight need not
            LOG.info("the night in %s cannot be summed up: %r", folder, error)
            continue
        if night.rig == rig and night.first is not None:
            found.append(night)
    return None if len(found) < HINT_NIGHTS else EarlierNights(len(found), _words(found))


def _words(nights: list[NightFacts]) -> str:
    parts, _ = starting_shift(nights)
    where = f"set it down {' and '.join(parts)}" if parts else "its first places scatter: nothing to change"
    minutes = [n.aligned_s for n in nights if n.aligned_s is not None]
    return f"{where}; {duration_text(statistics.median(minutes))} to align" if minutes else where
