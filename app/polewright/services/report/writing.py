"""The files of a report: report.html, measurements.csv, reticle.svg; each written whole or not at all."""

from __future__ import annotations

from pathlib import Path

from polewright.core.errors import RecordingError
from polewright.services.atomic_file import write_atomically
from polewright.services.report.facts import NightFacts
from polewright.services.report.history import History
from polewright.services.report.page import report_html
from polewright.services.report.pictures import RadialScale, well
from polewright.services.report.tables import measurements_csv

REORDERING = {ord(mark): None for mark in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"}


def encoded(text: str) -> bytes:
    """A page as bytes: names of files may hold bytes that are no text, and marks that turn the order of reading."""
    return text.translate(REORDERING).encode("utf-8", errors="replace")


def write_report(facts: NightFacts, history: History, scale: RadialScale, folder: Path) -> list[Path]:
    """Write the files into `folder`, which is made; their paths. RecordingError when the disk refuses."""
    contents = {
        "report.html": report_html(facts, history, scale),
        "measurements.csv": measurements_csv(facts),
        "reticle.svg": well(facts, scale),
    }
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in contents.items():
            write_atomically(folder / name, encoded(text))
            paths.append(folder / name)
    except OSError as error:
        raise RecordingError(f"The report cannot be written to {folder}: {error.strerror or error}.") from error
    return paths
