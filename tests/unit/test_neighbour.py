"""Frames placed by the stars they share with one before them; and everything that is no such frame."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from neighbouring_fields import HEIGHT_PX, WIDTH_PX, Sky, SkyRecipe, error_in_sigmas, off_px
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.matching.hint import SolveHint
from polewright.core.matching.neighbour import PATH, Neighbours, neighbour_of, placed_by
from polewright.core.model import Atmosphere, Frame, PlateSolution, Site, StarList, Utc
from polewright.core.night.measured import PlacedFrame
from polewright.core.plain import from_plain, to_plain
from polewright.core.unsolved import NoTime, Unsolved
from polewright.runtime.frame_facts import solution_from_plain, solution_to_plain
from polewright.services.measuring import FrameMeasurer
from solver_fields import star_list

PER_STAR = ("x_px", "y_px", "sigma_px", "flux_adu", "snr", "fwhm_px", "flags")


def sky_of(seed: int, **recipe: float) -> tuple[Sky, StarList, PlateSolution]:
    """A field, and its first frame solved."""
    for k in range(50):
        sky = Sky(SkyRecipe(**recipe), np.random.default_rng([seed, k]))  # type: ignore[arg-type]
        first = sky.solved()
        if first is not None:
            return sky, *first
    raise AssertionError("no field with enough known stars")


@pytest.mark.parametrize("move_px", [0.0, 3.0, 40.0, 350.0])
@pytest.mark.parametrize("turn_rad", [0.0, 1.0])
def test_the_next_frame_is_placed_by_the_stars_in_common(move_px: float, turn_rad: float) -> None:
    for seed in range(6):
        sky, stars, solution = sky_of(seed, known=9)
        there = sky.moved(move_px, turn_rad)
        got = placed_by(neighbour_of(stars, solution), sky.seen(there)[0])
        assert got is not None and got.path == PATH
        assert off_px(got, there) < 1.5
        assert np.abs(error_in_sigmas(got, there)).max() < 5.0


def test_hot_pixels_alone_place_nothing() -> None:
    """Clouds came: what is left stands where it stood, to a tenth of a pixel, and is no sky."""
    for seed in range(20):
        sky, stars, solution = sky_of(seed, hot=40)
        assert placed_by(neighbour_of(stars, solution), sky.seen(sky.attitude, most_stars=0)[0]) is None


def test_hot_pixels_do_not_hold_a_frame_where_the_last_one_was() -> None:
    for seed in range(20):
        sky, stars, solution = sky_of(seed, hot=80, unknown=30)
        there = sky.moved(25.0)
        got = placed_by(neighbour_of(stars, solution), sky.seen(there)[0])
        assert got is not None and off_px(got, there) < 1.5


def test_three_stars_between_clouds_are_too_few() -> None:
    for seed in range(20):
        sky, stars, solution = sky_of(seed, hot=10)
        assert placed_by(neighbour_of(stars, solution), sky.seen(sky.moved(20.0), most_stars=3)[0]) is None


def test_another_field_is_not_taken_for_this_one() -> None:
    for seed in range(40):
        _, stars, solution = sky_of(seed, hot=0)
        other = Sky(SkyRecipe(hot=0), np.random.default_rng(1000 + seed))
        assert placed_by(neighbour_of(stars, solution), other.seen(other.attitude)[0]) is None


def test_another_camera_is_not_compared() -> None:
    sky, stars, solution = sky_of(1)
    other = replace(sky.seen(sky.moved(20.0))[0], width_px=WIDTH_PX + 2)
    assert placed_by(neighbour_of(stars, solution), other) is None


def test_the_stated_error_is_that_of_the_neighbour_besides_its_own() -> None:
    """Over 60 fields the errors are as large as stated (tests/bench/neighbour_frames.py has more)."""
    pulls = []
    for seed in range(60):
        sky, stars, solution = sky_of(seed)
        there = sky.moved(60.0)
        got = placed_by(neighbour_of(stars, solution), sky.seen(there)[0])
        assert got is not None and got.inherited_rad2 is not None
        assert np.trace(got.attitude_icrs.covariance_rad2) > np.trace(got.inherited_rad2)
        pulls.append(error_in_sigmas(got, there))
    spread = np.sqrt(np.mean(np.square(pulls), axis=0))
    assert ((spread > 0.7) & (spread < 1.3)).all()


def test_errors_add_up_only_where_the_field_has_moved_on() -> None:
    """The frame that the catalogue placed is asked first; out of its reach the latest one, whose error is larger."""
    sky, stars, solution = sky_of(3, known=9)
    night = Neighbours().with_frame(stars, solution)
    sigmas = []
    for step in (10.0, 450.0, 900.0):
        there = sky.attitude @ _tilt(step / sky.camera.focal_px)
        seen = sky.seen(there)[0]
        got = night.place(seen)
        assert got is not None and off_px(got, there) < 3.0
        night = night.with_frame(seen, got)
        assert got.anchor == solution.centre
        sigmas.append(float(np.trace(got.attitude_icrs.covariance_rad2[:2, :2])))
        assert night.anchor is not None and night.anchor[1] is solution
    assert sigmas[2] > sigmas[0]


def _tilt(angle_rad: float) -> np.ndarray:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


class Given:
    """Star lists instead of pixels."""

    def __init__(self, lists: dict[str, StarList]) -> None:
        self.lists = lists

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        return self.lists[frame.name]


class FirstAlone:
    """A catalogue that knows the stars of the first frame, and too few of any other."""

    def __init__(self, solution: PlateSolution) -> None:
        self.left: list[PlateSolution] = [solution]

    def solve(self, stars: StarList, epoch_year: float, hint: SolveHint, progress: object = None) -> object:
        return self.left.pop() if self.left else Unsolved(NoTime(), len(stars))


def test_the_measuring_service_asks_the_neighbours_before_it_refuses() -> None:
    sky, stars, solution = sky_of(4)
    there = sky.moved(30.0)
    lists = {"first": stars, "next": sky.seen(there)[0], "cloud": sky.seen(there, most_stars=2)[0]}
    night = FrameMeasurer(Given(lists), FirstAlone(solution), lambda: 0.0)  # type: ignore[arg-type]
    pixels = np.broadcast_to(np.zeros(1, dtype=np.uint16), (HEIGHT_PX, WIDTH_PX))
    night.place(Frame("first", pixels, None))
    got = night.place(Frame("next", pixels, None)).outcome
    assert isinstance(got, PlateSolution) and off_px(got, there) < 1.5
    assert isinstance(night.place(Frame("cloud", pixels, None)).outcome, Unsolved)


def test_what_is_inherited_goes_with_the_frame_into_sky_and_record() -> None:
    sky, stars, solution = sky_of(5)
    got = placed_by(neighbour_of(stars, solution), sky.seen(sky.moved(60.0))[0])
    assert got is not None and got.inherited_rad2 is not None
    utc, site, air = Utc(2461000.5, 0.1), Site(52.0, 10.0), Atmosphere(0.0)
    both = (got, replace(got, inherited_rad2=None))
    with_it, without = (sky_frame("f", utc, site, air, s).attitude_enu.covariance_rad2 for s in both)
    assert np.allclose(with_it - without, got.inherited_rad2)
    again = solution_from_plain(solution_to_plain(got))
    assert again.inherited_rad2 is not None and np.array_equal(again.inherited_rad2, got.inherited_rad2)
    assert got.anchor == again.anchor == solution.centre
    placed = PlacedFrame.of(sky_frame("f", utc, site, air, got))
    assert placed.anchor == solution.centre and placed == PlacedFrame.of(placed.sky_frame())
    assert from_plain(PlacedFrame, to_plain(placed)) == placed
    old = solution_to_plain(got)
    del old["inherited_rad2"], old["anchor"]
    assert solution_from_plain(old).inherited_rad2 is None
    assert solution_from_plain(old).anchor is None


def test_a_frame_before_its_field_was_known_is_placed_when_it_is() -> None:
    sky, stars, solution = sky_of(6)
    there = sky.moved(30.0)
    lists = {"early": sky.seen(there)[0], "known": stars}
    catalogue = FirstAlone(solution)
    night = FrameMeasurer(Given(lists), catalogue, lambda: 0.0)  # type: ignore[arg-type]
    pixels = np.broadcast_to(np.zeros(1, dtype=np.uint16), (HEIGHT_PX, WIDTH_PX))
    catalogue.left = []
    early = night.place(Frame("early", pixels, None))
    assert isinstance(early.outcome, Unsolved)
    catalogue.left = [solution]
    night.place(Frame("known", pixels, None))
    got = night.again(early).outcome
    assert isinstance(got, PlateSolution) and off_px(got, there) < 1.5


def _with_a_trail(stars: StarList, seed: int) -> StarList:
    """The brightest light of the frame has trailed across it and fallen into pieces, blurred as by a turn."""
    rng, count = np.random.default_rng(seed), 45
    way = rng.uniform(0.0, np.pi)
    along = np.sort(rng.uniform(-430.0, 430.0, count))
    aside = rng.normal(scale=1.5, size=count)
    x = 0.5 * WIDTH_PX + along * np.cos(way) - aside * np.sin(way)
    y = 0.5 * HEIGHT_PX + along * np.sin(way) + aside * np.cos(way)
    pieces = star_list(x, y, 3.0, WIDTH_PX, HEIGHT_PX)
    both: dict[str, Any] = {f: np.concatenate([getattr(pieces, f), getattr(stars, f)]) for f in PER_STAR}
    return replace(stars, **both)


def test_pieces_of_one_trail_are_not_stars_in_common() -> None:
    """They lie on a line, so that they fit those of another frame's trail anywhere, and backwards as well."""
    placed = []
    for seed in range(40):
        _, first, solution = sky_of(seed, known=9, unknown=0, strays=0, hot=0)
        _, other, _ = sky_of(seed + 500, known=5, unknown=0, strays=0, hot=0)
        got = placed_by(neighbour_of(_with_a_trail(first, seed), solution), _with_a_trail(other, seed + 900))
        placed += [] if got is None else [seed]
    assert placed == []
