"""One lens for a whole capture: bent lenses and fisheyes of our own, and captures that have no such lens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polewright.core.attitude import rotation_vector
from polewright.core.axis.shared_lens import frame_by, frames_by, is_wide, learned_lens, with_shared_lens
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.sky.places import standard_atmosphere
from sky_solver import shared_catalogue
from wide_lenses import SITE, Bending, Capture, capture, error_arcmin, wide_frames

AIR = standard_atmosphere(SITE)


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


def test_a_wide_frame_by_itself_is_less_sure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three times: what bends in it alone, its own stars do not show. So for `measure`, `follow` and the window."""
    frame = wide_frames(capture(shared_catalogue(), Bending("straight", 90.0), np.random.default_rng(2)))[0]
    monkeypatch.setattr("polewright.core.axis.sky_frame.is_bent", lambda _: False)
    by_its_stars = sky_frame("0", frame.sky.utc_mid, SITE, AIR, frame.solution, 1.0).attitude_enu.covariance_rad2
    assert np.allclose(frame.sky.attitude_enu.covariance_rad2, 9.0 * by_its_stars, rtol=1e-12, atol=0.0)


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


@pytest.mark.parametrize("lens", [Bending("straight", 90.0), Bending("equidistant", 180.0, mirrored=True)])
def test_a_frame_after_the_capture_is_placed_by_its_lens(lens: Bending) -> None:
    """Against the truth: the fifth frame, by a lens that it had no part in, tells the axis as well as the others."""
    taken = capture(shared_catalogue(), lens, np.random.default_rng(4))
    frames = wide_frames(taken)
    learned = learned_lens(frames[:4], shared_catalogue(), SITE, AIR)
    assert learned is not None
    last = frame_by(learned, frames[4], shared_catalogue(), SITE, AIR)
    assert last is not None and last.stars_matched > 120
    error, sigma = error_arcmin([*frames_by(learned, frames[:4]), last], taken)
    assert np.linalg.norm(error) < 0.3 and (np.abs(error) < 4.0 * sigma).all()


def test_a_zoomed_frame_after_the_capture_is_not_placed_by_its_lens() -> None:
    first, second = (
        wide_frames(capture(shared_catalogue(), Bending("straight", width), np.random.default_rng(3)))
        for width in (90.0, 86.0)
    )
    learned = learned_lens(first, shared_catalogue(), SITE, AIR)
    assert learned is not None
    assert frame_by(learned, second[4], shared_catalogue(), SITE, AIR) is None


def test_frames_by_one_lens_stand_as_each_alone_says() -> None:
    """So a frame that the lens does not fit goes with them: a middle 9 px off passes for a turn of the camera."""
    frames = wide_frames(capture(shared_catalogue(), Bending("straight", 90.0), np.random.default_rng(5)))
    fitted = with_shared_lens(frames, shared_catalogue(), SITE, AIR)
    turns = [
        rotation_vector(each.attitude_enu.camera_to_sky.T @ frame.sky.attitude_enu.camera_to_sky)
        for each, frame in zip(fitted, frames)
    ]
    assert np.abs(np.median(turns, axis=0)).max() < 1e-5


def test_what_all_stars_are_off_by_stays_uncertain() -> None:
    """A frame exposed while the mount moved: the moment within the exposure is not told by its stars' scatter."""
    frames = wide_frames(capture(shared_catalogue(), Bending("straight", 90.0), np.random.default_rng(6)))
    drawn = replace(frames[4], stars=replace(frames[4].stars, shared_error=(3.0, 0.0, 0.0, 0.0)))
    fitted = with_shared_lens([*frames[:4], drawn], shared_catalogue(), SITE, AIR)
    about_y = np.sqrt(fitted[4].attitude_enu.covariance_rad2[1, 1])
    assert about_y == pytest.approx(3.0 / fitted[4].camera.focal_px, rel=0.05)
