"""Pictures that are no sky have no place on it. Reduced run of tests/bench/no_sky.py."""

from __future__ import annotations

from bench.no_sky import textures
from polewright.core.model import Frame
from polewright.core.unsolved import Unsolved
from polewright.services.detector import Detector
from polewright.services.measuring import FrameMeasurer, Optics
from polewright.services.second_looks import second_looks
from sky_solver import shared_solver


def test_dots_lattices_lines_blobs_and_grain_are_refused() -> None:
    """Second looks included: none of them may find stars in what is no sky."""
    for name, pixels in textures(5, 2):
        optics = Optics(focal_length_mm=200.0, pixel_size_um=5.0)
        measurer = FrameMeasurer(Detector(), shared_solver(False), lambda: 0.0, optics, look_again=second_looks)
        assert isinstance(measurer.place(Frame(name, pixels, None)).outcome, Unsolved), name
