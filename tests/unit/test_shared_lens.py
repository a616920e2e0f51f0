"""One lens for a whole capture: bent lenses and fisheyes of our own, and captures that have no such lens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.axis.estimate import estimate_axis
from polewright.core.axis.shared_lens import Wide, is_wide, with_shared_lens
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.matching.hint import SolveHint
from polewright.core.model import AxisEstimate, Camera, PlateSolution, SkyFrame, StarList, TargetPole
from polewright.core.sky.places import standard_atmosphere
from sky_solver import shared_catalogue, shared_solver
from wide_lenses import SITE, Bending, Capture, capture

AIR = standard_atmosphere(SITE)
MIDDLE = 0.35


def middle_of(stars: StarList) -> tuple[StarList, int, int]:
    """The list of the middle of the frame, as the second look makes it, and its corner."""
    width, height = round(stars.width_px * MIDDLE), round(stars.height_px * MIDDLE)
    x0, y0 = (stars.width_px - width) // 2, (stars.height_px - height) // 2
    inside = (np.abs(stars.x_px - x0 - width / 2) < width / 2) & (np.abs(stars.y_px - y0 - height / 2) < height / 2)
    columns = {k: getattr(stars, k)[inside] for k in ("sigma_px", "flux_adu", "snr", "fwhm_px", "flags")}
    x, y = stars.x_px[inside] - x0, stars.y_px[inside] - y0
    return replace(stars, width_px=width, height_px=height, x_px=x, y_px=y, **columns), x0, y0


def solved(stars: StarList, known: Camera | None) -> PlateSolution:
    """By the middle of the frame, as the program solves what bends much."""
    part, x0, y0 = middle_of(stars)
    camera = known and replace(known, width_px=part.width_px, height_px=part.height_px)
    got = shared_solver().solve(part, 2026.0, SolveHint(camera=camera))
    assert isinstance(got, PlateSolution), got
    whole = replace(got.camera, width_px=stars.width_px, height_px=stars.height_px)
    return replace(
        got, camera=whole, matched=replace(got.matched, x_px=got.matched.x_px + x0, y_px=got.matched.y_px + y0)
    )


def wide_frames(taken: Capture) -> list[Wide]:
    known, frames = None, []
    for k, (stars, utc) in enumerate(zip(taken.lists, taken.utc)):
        solution = solved(stars, known)
        known = solution.camera
        frames.append(Wide(sky_frame(str(k), utc, SITE, AIR, solution, 1.0), solution, stars))
    return frames


def error_arcmin(frames: list[SkyFrame], taken: Capture) -> tuple[np.ndarray, np.ndarray]:
    """Error (2,) of the axis and its stated sigmas (2,), arcmin."""
    found = estimate_axis(frames, SITE, AIR, TargetPole.TRUE)
    assert isinstance(found, AxisEstimate), found
    error = np.array([found.east_rad, found.up_rad]) - taken.offset_rad
    return error * ARCMIN_PER_RAD, np.sqrt(np.diag(found.covariance_rad2)) * ARCMIN_PER_RAD


@pytest.mark.parametrize(
    "lens",
    [
        Bending("straight", 90.0),
        Bending("equidistant", 120.0, mirrored=True),
        Bending("stereographic", 150.0),
        Bending("equidistant", 180.0),
        Bending("equal areas", 180.0, mirrored=True),
    ],
    ids=lambda lens: f"{lens.drawing} {lens.width_deg:.0f}",
)
def test_all_stars_of_a_bending_lens_count(lens: Bending) -> None:
    """Off the middle, tilted and bent: the axis to a fraction of a minute of arc, and as sure as stated."""
    taken = capture(shared_catalogue(), lens, np.random.default_rng(1))
    frames = wide_frames(taken)
    fitted = with_shared_lens(frames, shared_catalogue(), SITE, AIR)
    error, sigma = error_arcmin(fitted, taken)
    assert np.linalg.norm(error) < 0.3 and (np.abs(error) < 4.0 * sigma).all()
    assert np.linalg.norm(sigma) < 0.3
    assert (
        min(frame.stars_matched for frame in fitted) > 120
    )  # of 198 real ones at most; the middle alone has 15 to 45


def test_narrow_few_and_mixed_captures_stay_as_they_are() -> None:
    taken = capture(shared_catalogue(), Bending("straight", 90.0), np.random.default_rng(2))
    frames = wide_frames(taken)
    solutions = [frame.solution for frame in frames]
    assert is_wide(solutions)
    assert not is_wide(solutions[:2])
    narrow = [replace(s, camera=replace(s.camera, focal_px=5000.0)) for s in solutions]
    assert not is_wide(narrow)
    other = [*solutions[:4], replace(solutions[4], camera=replace(solutions[4].camera, mirrored=True))]
    assert not is_wide(other)
    kept = with_shared_lens(frames[:2], shared_catalogue(), SITE, AIR)
    assert all(a is b.sky for a, b in zip(kept, frames))


def test_a_zoom_between_frames_is_no_one_lens() -> None:
    """A zoom lens that was turned between frames: what one lens cannot explain stays as it was."""
    first, second = (
        capture(shared_catalogue(), Bending("straight", width), np.random.default_rng(3)) for width in (90.0, 86.0)
    )
    mixed = Capture([*first.lists[:3], *second.lists[3:]], first.utc, first.offset_rad)
    known = [
        wide_frames(replace(mixed, lists=mixed.lists[:3])),
        wide_frames(replace(mixed, lists=mixed.lists[3:], utc=mixed.utc[3:])),
    ]
    frames = [*known[0], *known[1]]
    fitted = with_shared_lens(frames, shared_catalogue(), SITE, AIR)
    assert all(a is b.sky for a, b in zip(fitted, frames))
