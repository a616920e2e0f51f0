"""Composition root: the only place that builds concrete services and connects them."""

from __future__ import annotations

import argparse
import sys

from polewright.core.matching.work import SolverWork
from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.services.clock import SystemClock
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.detector import Detector
from polewright.services.measuring import FrameMeasurer, Optics
from polewright.services.paths import cache_folder
from polewright.services.second_looks import second_looks
from polewright.services.solver import Solver
from polewright.words.work import work_words


def build_measurer(
    optics: Optics | None = None,
    utc_offset_hours: float | None = None,
    quiet: bool = False,
    catalogue: Catalogue | None = None,
) -> FrameMeasurer:
    """Reader, detector and solver as one; `quiet` leaves out the progress line on stderr."""
    reader = ContainedReader(HelperProcess())
    return FrameMeasurer(
        Detector(reader.find_stars),
        Solver(catalogue or load_catalogue(), cache_folder()),
        SystemClock().monotonic_s,
        optics,
        utc_offset_hours,
        None if quiet else progress_line,
        reader.read,
        second_looks,
    )


def frame_measurer(args: argparse.Namespace, catalogue: Catalogue | None = None) -> FrameMeasurer:
    """A measurer as the camera options of a command ask for it; with the catalogue of a command that has its own use
    for it."""
    optics = Optics(args.focal_length, args.pixel_size)
    return build_measurer(optics, args.utc_offset, quiet=args.json, catalogue=catalogue)


def progress_line(work: SolverWork, fraction: float) -> None:
    """Long work as one line on stderr that is rewritten, and ended when the work is."""
    if not sys.stderr.isatty():
        return
    what = ", ".join(filter(None, work_words(work)))
    end = "\n" if fraction >= 1.0 else ""
    print(f"\r{what}: {100.0 * fraction:3.0f} %", end=end, file=sys.stderr, flush=True)
