"""Real frames find the places that two independent catalogues and other solvers found for them.

Sources: README of the shared frames. TIFF: star-tracker camera, ESA tetra3 example data; PNG: star-tracker test set;
FITS: MicroObservatory, field of HAT-P-32; JPEG: the north pole over 30 s; fixed-camera FITS: a meteor camera, whose
crop centres come from an axis fit with common distortion.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polewright.core.matching.hint import SolveHint
from polewright.core.model import Frame, PlateSolution, StarList
from polewright.services.detector import Detector
from polewright.services.frame_reader import read_frame
from polewright.services.frame_reader.families import is_frame_name
from polewright.services.measuring import FrameMeasurer
from polewright.services.second_looks import second_looks
from sky_solver import shared_solver

TIFF_SCALE = 11.42 * 3600.0 / 1024.0
HATP_SCALE = 0.93 * 3600.0 / 650.0
FEW_STARS_SCALE = 15.72


@cache
def detected(path: Path) -> tuple[Frame, StarList]:
    frame = read_frame(path)
    return frame, Detector().detect(frame)


def solved(path: Path, hint: SolveHint, epoch_year: float) -> PlateSolution:
    got = shared_solver().solve(detected(path)[1], epoch_year, hint)
    assert isinstance(got, PlateSolution), got
    return got


def off_deg(solution: PlateSolution, ra_deg: float, dec_deg: float) -> float:
    c = solution.centre
    d_ra = (c.ra_deg - ra_deg + 180.0) % 360.0 - 180.0
    return float(np.hypot(d_ra * np.cos(np.radians(dec_deg)), c.dec_deg - dec_deg))


@pytest.mark.parametrize(
    ("name", "ra", "dec"),
    [
        ("Alt40_Azi-135", 230.668, 11.036),
        ("Alt60_Azi45", 314.693, 64.225),
        ("Alt60_Azi135", 286.436, 28.944),
    ],
)
def test_star_tracker_frames(shared_frames: Path, name: str, ra: float, dec: float) -> None:
    got = solved(shared_frames / f"2019-07-29T204726_{name}_Try1.tiff", SolveHint(TIFF_SCALE), 2019.57)
    assert off_deg(got, ra, dec) < 0.01
    assert not got.mirrored
    assert got.rms_arcsec / got.scale_arcsec_px < 0.3
    assert len(got.matched) > 40


@pytest.mark.parametrize("time", ["013343", "024512", "035712", "050912", "062112", "080912"])
def test_faint_telescope_frames_with_the_mounts_pointing(shared_frames: Path, time: str) -> None:
    path = shared_frames / f"HATP-32171220{time}.FITS"
    pointing = detected(path)[0].pointing
    assert pointing is not None
    got = solved(path, SolveHint(HATP_SCALE, near=pointing.value, near_radius_deg=1.0), 2017.97)
    known = {"013343": (31.249, 46.741), "035712": (31.089, 46.812)}
    ra, dec = known.get(time, (31.0, 46.78))
    assert off_deg(got, ra, dec) < (0.01 if time in known else 0.35)
    assert got.scale_arcsec_px == pytest.approx(5.164, abs=0.01)
    assert got.mirrored
    assert len(got.matched) > 20 and got.rms_arcsec < 1.5


@pytest.mark.parametrize(
    ("name", "ra", "dec"), [("img0", 152.497, 15.956), ("img3", 182.874, 8.694), ("img7", 177.199, 3.212)]
)
@pytest.mark.parametrize("off", [0.94, 1.0, 1.06])
def test_frames_of_few_stars_among_hot_pixels(
    shared_frames: Path, name: str, ra: float, dec: float, off: float
) -> None:
    # img7: a dozen stars among sixty lumps of noise and hot pixels
    hint = SolveHint(FEW_STARS_SCALE * off)
    got = solved(shared_frames / "few-stars" / f"{name}.png", hint, 2020.0)
    assert off_deg(got, ra, dec) < 0.02
    assert got.scale_arcsec_px == pytest.approx(FEW_STARS_SCALE, rel=0.002)


def test_the_north_pole_in_the_frame(shared_frames: Path) -> None:
    got = solved(shared_frames / "polar_30sec.jpg", SolveHint(77.6), 2020.0)
    assert off_deg(got, 11.77, 88.77) < 0.05
    assert got.scale_arcsec_px == pytest.approx(77.6, rel=0.005)


CROP_PX = 300  # about 20 degrees of a lens of 88 x 47 degrees


@pytest.mark.parametrize(
    ("number", "ra", "dec"),
    [(0, 109.41, 59.25), (1, 111.67, 59.26), (2, 122.06, 59.27), (3, 130.71, 59.28), (4, 136.28, 59.30)],
)
def test_middle_of_a_strongly_distorted_lens(shared_frames: Path, number: int, ra: float, dec: float) -> None:
    path = sorted((shared_frames / "fixed-camera").glob("*.fits"))[number]
    frame = read_frame(path)
    x0, y0 = (frame.width_px - CROP_PX) // 2, (frame.height_px - CROP_PX) // 2
    crop: Any = np.ascontiguousarray(frame.pixels[y0 : y0 + CROP_PX, x0 : x0 + CROP_PX])
    stars = Detector().detect(replace(frame, pixels=crop))
    got = shared_solver().solve(stars, 2023.21, SolveHint(240.0))
    assert isinstance(got, PlateSolution), got
    assert off_deg(got, ra, dec) < 0.1


HARD = {
    "hard/tree.jpg": (268.433, -8.335, None),
    "hard/plate-m44.jpg": (130.091, 19.693, 1.075),
    "hard/short-0.png": (181.172, 16.836, 15.72),
    "hard/short-8.png": (161.478, 4.371, 15.72),
}


@pytest.mark.parametrize("name", HARD)
def test_frames_that_need_a_second_look(shared_frames: Path, name: str) -> None:
    """A tree before the stars, the grain of a plate, thousands of hot pixels: without any hint."""
    ra, dec, scale = HARD[name]
    got = measured(shared_frames / name)
    assert off_deg(got, ra, dec) < 0.02
    assert scale is None or got.scale_arcsec_px == pytest.approx(scale, rel=0.003)


def measured(path: Path) -> PlateSolution:
    """As the program does it, from the file and nothing else."""
    measurer = FrameMeasurer(Detector(), shared_solver(), lambda: 0.0, utc_offset_hours=0.0, look_again=second_looks)
    got = measurer.measure(path).outcome
    assert isinstance(got, PlateSolution), got
    return got


@pytest.mark.parametrize("folder", [".", "few-stars", "fixed-camera", "tracked-night"])
def test_every_shared_frame_is_solved(shared_frames: Path, folder: str) -> None:
    """By nothing but what the file says."""
    frames = [p for p in sorted((shared_frames / folder).iterdir()) if p.is_file() and is_frame_name(p.name)]
    assert len(frames) >= 3
    for path in frames:
        measured(path)
