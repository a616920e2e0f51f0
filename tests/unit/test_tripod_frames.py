"""Long exposures without tracking: trails are measured at mid-exposure, or named as what they are, with the cure.

The fields are the program's own catalogue with errors; the truth is the attitude at the middle of the exposure.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from PIL import Image

from polewright.core.model import PlateSolution
from polewright.core.sky.timescales import iso_text
from polewright.core.star_trouble import Trailed
from polewright.core.unsolved import Unsolved
from polewright.services.detector import Detector
from polewright.services.measuring import FrameMeasurer, MeasuredFrame
from polewright.services.second_looks import second_looks
from polewright.words.frames import frame_words
from sky_solver import shared_catalogue, shared_solver
from tripod_frames import Stood, Tripod, stood


def _written(taken: Stood, path: Path) -> Path:
    """The frame as a FITS file with its header, or as a picture without one."""
    if path.suffix == ".fits":
        frame = taken.frame
        assert frame.utc_mid is not None and frame.exposure_s is not None
        start = iso_text(frame.utc_mid.value.plus_seconds(-0.5 * frame.exposure_s.value))
        header = fits.Header({"DATE-OBS": start, "EXPTIME": frame.exposure_s.value})
        fits.writeto(path, frame.pixels, header)
    else:  # a camera's own eight bits, of the darkest 600 levels
        levels = np.clip((taken.frame.pixels.astype(np.float64) - 550.0) / 2.4, 0, 255).astype(np.uint8)
        Image.fromarray(levels).save(path, quality=95)
    return path


def _measured(path: Path) -> MeasuredFrame:
    measurer = FrameMeasurer(Detector(), shared_solver(), lambda: 0.0, utc_offset_hours=0.0, look_again=second_looks)
    return measurer.measure(path)


@pytest.mark.parametrize(("width_deg", "trail_px"), [(20, 120), (40, 60)])
def test_trails_that_bend_are_refused(width_deg: int, trail_px: int) -> None:
    """Solved by half of them, the frames were 9.2 and 9.7 px off, the first one turned by 1.5 degrees: 12 sigmas."""
    rng = np.random.default_rng([width_deg, trail_px, 1])
    dec_deg, mirrored = float(rng.uniform(-20.0, 80.0)), bool(rng.integers(2))
    tripod = Tripod(width_deg, trail_px, dec_deg, int(rng.choice([80, 150, 250])), mirrored=mirrored)
    frame = stood(shared_catalogue(), tripod, rng).frame
    measured = FrameMeasurer(Detector(), shared_solver(), lambda: 0.0, look_again=second_looks).place(frame)
    assert isinstance(measured.outcome, Unsolved) and isinstance(measured.outcome.why, Trailed)


@pytest.mark.parametrize("kind", ["fits", "jpg"])
@pytest.mark.parametrize(
    ("width_deg", "trail_px", "dec_deg"),
    [(2.5, 120.0, 2.0), (2.5, 180.0, -7.0), (8.0, 180.0, 14.0), (1.0, 300.0, 21.0)],
)
def test_long_trails_are_measured_where_they_stood_at_mid_exposure(
    tmp_path: Path, width_deg: float, trail_px: float, dec_deg: float, kind: str
) -> None:
    """Pieces of trails once passed for stars: the first two were solved 56 and 86 px off, and sure of it."""
    taken = stood(shared_catalogue(), Tripod(width_deg, trail_px, dec_deg, 150), np.random.default_rng(5))
    outcome = _measured(_written(taken, tmp_path / f"frame.{kind}")).outcome
    assert isinstance(outcome, PlateSolution)
    error = taken.error_px(outcome)
    assert error < 3.0 and error < 3.0 * taken.sigma_px(outcome)


@pytest.mark.parametrize(
    ("width_deg", "trail_px", "dec_deg"),
    [(70.0, 60.0, 76.0), (70.0, 120.0, 76.0), (70.0, 180.0, 76.0), (70.0, 300.0, 20.0), (20.0, 300.0, 65.0)],
)
def test_arcs_of_a_wide_lens_are_refused_by_name_with_their_length_and_the_cure(
    tmp_path: Path, width_deg: float, trail_px: float, dec_deg: float
) -> None:
    """Bent arcs agree over a part of their length only: half of it was stated."""
    taken = stood(shared_catalogue(), Tripod(width_deg, trail_px, dec_deg, 150), np.random.default_rng(5))
    outcome = _measured(_written(taken, tmp_path / "frame.fits")).outcome
    assert isinstance(outcome, Unsolved) and isinstance(outcome.why, Trailed)
    assert outcome.why.length_px == pytest.approx(np.median(taken.lengths_px), rel=0.2)
    said = frame_words(outcome.why)
    assert "trailed" in said.reason and "switch tracking on" in said.cure and "expose" in said.cure


@pytest.mark.parametrize("trail_px", [8.0, 12.0, 20.0, 30.0])
def test_short_trails_are_stated_as_long_as_they_are(trail_px: float) -> None:
    """From their length follows for how long to expose."""
    taken = stood(shared_catalogue(), Tripod(3.0, trail_px, 20.0, 80), np.random.default_rng(4))
    trouble = Detector().detect(taken.frame).trouble
    assert isinstance(trouble, Trailed)
    assert trouble.length_px == pytest.approx(np.median(taken.lengths_px), rel=0.3)


@pytest.mark.parametrize(("width_deg", "seed"), [(20.0, 2), (70.0, 2)])
def test_no_second_look_takes_the_ends_of_trails_for_stars(tmp_path: Path, width_deg: float, seed: int) -> None:
    """Half a trail, 86 and 85 px, was such a solution off, and sure of it by 264 and 535 sigmas."""
    rng = np.random.default_rng([int(width_deg), 180, seed])
    dec_deg, mirrored = float(rng.uniform(-20.0, 80.0)), bool(rng.integers(2))
    tripod = Tripod(width_deg, 180.0, dec_deg, int(rng.choice([80, 150, 250])), mirrored=mirrored)
    taken = stood(shared_catalogue(), tripod, rng)
    outcome = _measured(_written(taken, tmp_path / "frame.fits")).outcome
    assert isinstance(outcome, Unsolved) or taken.error_px(outcome) < 5.0


def test_a_trail_that_fills_the_frame_is_no_star_list(tmp_path: Path) -> None:
    """Beyond what can be measured nothing is solved wrongly."""
    taken = stood(shared_catalogue(), Tripod(2.5, 700.0, 10.0, 150), np.random.default_rng(5))
    outcome = _measured(_written(taken, tmp_path / "frame.fits")).outcome
    assert isinstance(outcome, Unsolved)
    assert isinstance(outcome.why, Trailed)
