"""One lens for a whole capture: bent lenses and fisheyes of our own, and captures that have no such lens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polewright.core.axis.shared_lens import is_wide, with_shared_lens
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
