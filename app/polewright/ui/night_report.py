"""What a report is made of: the night, the nights of its rig beside it, and the scale of its reticle; read once."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.services.night_log import night_folder, read_night
from polewright.services.report.facts import NightFacts, gather
from polewright.services.report.history import History, nights_beside
from polewright.ui.well_scale import WellScale, scale_for

LEAST_ARCMIN = 0.05  # of the scale's tolerance (chosen): a record may state none


class NightReport(NamedTuple):
    """In the order in which report_html and write_report take them."""

    facts: NightFacts
    history: History
    scale: WellScale


def read_report(night: Path, name: str, alone: bool = False) -> NightReport:
    """The night at `night` (its folder or its log) under this name; RecordingError when there is none.

    `alone`: without the nights beside it.
    """
    facts = gather(read_night(night), name)
    history = nights_beside(night_folder(night), facts, alone)
    return NightReport(facts, history, scale_for(max(facts.tolerance_rad * ARCMIN_PER_RAD, LEAST_ARCMIN)))
