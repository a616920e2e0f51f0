"""Frames that the ordinary passes lose: stars beside a tree, wide stars, bent lenses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import starfields as sf
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.model import Camera, FloatArray, Frame, PlateSolution, Sourced, StarList
from polewright.core.unsolved import NoTime, ThinCatalogue, Unsolved
from polewright.services import detector
from polewright.services import second_looks as second_looks_module
from polewright.services.contained.ceiling import Budget
from polewright.services.contained.process import HelperProcess
from polewright.services.contained.reader import ContainedReader
from polewright.services.contained.wire import Message
from polewright.services.detector import Detector
from polewright.services.local_pass import local_list
from polewright.services.measuring import FrameMeasurer
from polewright.services.second_looks import Look, second_looks
from sky_solver import shared_catalogue, shared_solver
from solver_fields import Field, FieldRecipe, error_px, make_field
from wide_lenses import HEIGHT_PX, WIDTH_PX, Bending, capture, picture

SKY_ADU, NOISE_ADU, FWHM_PX = 500.0, 20.0, 2.5


def drawn(seed: int, width_deg: float = 10.0) -> tuple[Field, np.ndarray]:
    """A field of the sky and its picture (480, 640), without noise."""
    recipe = FieldRecipe(
        width_deg, width_px=640, height_px=480, spurious=0, missing=0.0, noise_px=0.0, limit_stars=40
    )
    field = make_field(shared_catalogue(), recipe, np.random.default_rng(seed))
    assert field is not None
    image = np.full((480, 640), SKY_ADU)
    for x, y, snr in zip(field.stars.x_px, field.stars.y_px, np.geomspace(200.0, 12.0, field.real)):
        sf.add_star(image, x, y, float(sf.flux_of(snr, FWHM_PX, NOISE_ADU)), FWHM_PX / sf.FWHM_PER_SIGMA)
    return field, image


def with_tree(image: np.ndarray, seed: int) -> np.ndarray:
    """Twigs, lit from below, over the right third: brighter than the stars, and their width is that of twigs."""
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    twigs = ndimage.gaussian_filter(rng.normal(size=image.shape), 1.6) * 1800.0
    lit = np.clip(twigs + 600.0, 0.0, None)
    lit[:, : int(0.66 * image.shape[1])] = 0.0
    return image + lit


def frame_of(image: np.ndarray, seed: int) -> Frame:
    noisy = image + np.random.default_rng(seed).normal(size=image.shape) * NOISE_ADU
    return Frame("drawn", np.clip(np.rint(noisy), 0, 65535).astype(np.uint16), None)


def measurer(again: bool) -> FrameMeasurer:
    if not again:
        return FrameMeasurer(Detector(), shared_solver(), lambda: 0.0)
    return FrameMeasurer(Detector(), shared_solver(), lambda: 0.0, look_again=second_looks)


def test_a_tree_before_the_stars() -> None:
    field, image = drawn(3)
    frame = frame_of(with_tree(image, 1), 2)
    assert isinstance(measurer(False).place(frame).outcome, Unsolved)  # what the second look is for
    got = measurer(True).place(frame).outcome
    assert isinstance(got, PlateSolution)
    assert error_px(field, got) < 1.0


def test_what_solved_the_last_frame_is_tried_on_the_next_at_once() -> None:
    """Among frames with a tree, each would otherwise count as spoiled after the first."""
    field, image = drawn(3)
    night = measurer(True)
    for seed in (2, 3, 4):
        got = night.place(frame_of(with_tree(image, 1), seed)).outcome
        assert isinstance(got, PlateSolution) and error_px(field, got) < 1.0


def test_local_noise_finds_stars_beside_a_tree_and_measures_them() -> None:
    field, image = drawn(3)
    frame = frame_of(with_tree(image, 1), 2)
    stars = local_list(frame, frame.pixels)
    free = field.stars.x_px < 400.0
    gap = np.hypot(stars.x_px[:, None] - field.stars.x_px[free], stars.y_px[:, None] - field.stars.y_px[free])
    found = gap.min(axis=0) < 1.0
    assert found[:15].all() and found.mean() > 0.8
    error = gap.min(axis=0)[found]
    assert np.sqrt(np.mean(np.square(error)) / 2.0) < 0.25  # px along one axis


def test_a_flat_or_dark_picture_has_no_stars() -> None:
    for level in (0, 300):
        frame = Frame("flat", np.full((300, 400), level, dtype=np.uint16), None)
        assert len(local_list(frame, frame.pixels)) == 0


@pytest.mark.parametrize("side", [2, 3])
def test_large_frames_are_measured_in_their_own_pixels(side: int) -> None:
    """A star in the middle of n x n gathered pixels is where it was."""
    image = np.full((900 * side, 1800 * side), SKY_ADU)
    sf.add_star(image, 1000.0, 700.0, 4e6, 2.0 * side)
    stars = local_list(Frame("large", image.astype(np.float32), None), image.astype(np.float32))
    assert stars.x_px[0] == pytest.approx(1000.0, abs=0.3) and stars.y_px[0] == pytest.approx(700.0, abs=0.3)


def test_the_middle_of_a_frame_stands_for_the_whole() -> None:
    """Solved by its middle, a frame points where its middle points, with the stars where they are on the frame."""
    _, image = drawn(5, 40.0)
    frame = frame_of(image, 6)
    *_, look = second_looks(Frame("wide", np.tile(frame.pixels, (2, 2)), None), Detector().detect)  # type: ignore[arg-type]
    assert look.is_part
    whole = look.whole_stars()
    assert (whole.width_px, whole.height_px) == (1280, 960)
    assert whole.x_px.min() > 0.3 * 1280 and whole.x_px.max() < 0.7 * 1280
    camera = look.camera_of_part(Camera(1280, 960, 900.0))
    assert camera is not None and camera.width_px == look.stars.width_px and camera.focal_px == 900.0


def test_about_the_middle_the_ordinary_list_is_kept() -> None:
    """All stars of the frame once, bright ones first; those of the middle with the numbers that were matched."""
    _, image = drawn(5, 40.0)
    frame = frame_of(np.tile(image, (2, 2)), 6)
    ordinary = Detector().detect(frame)
    *_, look = second_looks(frame, Detector().detect)
    stars, middle = look.among(ordinary), look.whole_stars()
    assert (stars.width_px, stars.height_px) == (1280, 960)
    assert np.isin(middle.x_px, stars.x_px).all() and len(stars) > len(middle) + 60
    assert (np.diff(stars.flux_adu) <= 0.0).all()
    gap = np.hypot(np.subtract.outer(stars.x_px, stars.x_px), np.subtract.outer(stars.y_px, stars.y_px))
    assert gap[np.triu_indices(len(stars), 1)].min() > 1.5  # none twice
    whole = Look(frame, frame.width_px, frame.height_px, lambda: ordinary)
    assert np.array_equal(whole.among(middle).x_px, ordinary.x_px)  # a look at all of it stands alone


def test_hot_pixels_are_learnt_where_the_solution_speaks() -> None:
    """Outside the middle of a lens that bends, nobody knows how far the sky has moved."""
    rng = np.random.default_rng([8, 0])
    taken = capture(shared_catalogue(), Bending("equidistant", 180.0), rng, frames=3, noise_px=0.0, strays=0)
    night, learnt_at = measurer(True), []

    class Mask(HotPixelMask):
        def update(self, places_px: FloatArray, sky_moved_px: float | FloatArray) -> HotPixelMask:
            learnt_at.append(places_px)
            return self

    night._hot_pixels = Mask.empty(HEIGHT_PX, WIDTH_PX)
    for stars in taken.lists:
        got = night.place(Frame("fisheye", picture(stars, rng), None))
        assert isinstance(got.outcome, PlateSolution)
        assert np.ptp(got.stars.x_px) > 0.7 * WIDTH_PX
    assert len(learnt_at) == 3
    for places in learnt_at:
        assert (np.abs(places - [0.5 * WIDTH_PX, 0.5 * HEIGHT_PX]) < [0.18 * WIDTH_PX, 0.18 * HEIGHT_PX]).all()


def test_after_a_frame_solved_by_its_middle_only_the_middle_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other lists would be dropped unread; the look keeps its number."""
    rng = np.random.default_rng([8, 0])
    taken = capture(shared_catalogue(), Bending("equidistant", 180.0), rng, frames=2, noise_px=0.0, strays=0)
    first, second = (Frame("fisheye", picture(stars, rng), None) for stars in taken.lists)
    night = measurer(True)
    assert isinstance(night.place(first).outcome, PlateSolution) and night._by_middle
    number = night._look_that_solved
    for unwanted in ("local_list", "binned"):
        monkeypatch.setattr(second_looks_module, unwanted, lambda *_, name=unwanted: pytest.fail(f"{name} is called"))
    assert isinstance(night.place(second).outcome, PlateSolution) and night._by_middle
    assert night._look_that_solved == number == 2 + (WIDTH_PX * HEIGHT_PX > 1_500_000)


def test_frames_that_cannot_show_stars_are_not_looked_at_again() -> None:
    looked = []

    def look_again(frame: Frame, detect: object, hot_pixels: object = None) -> list[Look]:
        looked.append(frame.name)
        return []

    night = FrameMeasurer(Detector(), shared_solver(), lambda: 0.0, look_again=look_again)  # type: ignore[arg-type]
    night.place(Frame("cap on", np.zeros((300, 400), dtype=np.uint16), None))
    assert looked == []


def test_a_better_quick_list_stays() -> None:
    """A bright horizon teaches the careful pass a wrong width: it may not throw away the stars of the quick one."""
    image = drawn(7)[1]
    image[-60:] += np.linspace(0.0, 30000.0, 60)[:, None]
    stars: StarList = Detector().detect(frame_of(image, 8))
    assert len(stars) >= 20


def test_the_careful_pass_of_a_second_look_runs_in_the_helper(monkeypatch: pytest.MonkeyPatch) -> None:
    """Gathered pixels and the middle alone are as difficult as the frame: what may abort must not do it here."""
    frame = Frame("grain", np.random.default_rng(1).normal(500.0, 20.0, (1200, 1600)).astype(np.float32), None)
    asked: list[tuple[int, ...]] = []
    helper = HelperProcess()
    ask = helper.ask

    def counted(message: Message, budget: Budget) -> Message:
        asked.append(message.arrays[0].shape)
        return ask(message, budget)

    monkeypatch.setattr(helper, "ask", counted)
    monkeypatch.setattr(detector, "flattened", lambda *_: pytest.fail("the careful pass runs here"))
    contained = Detector(ContainedReader(helper).find_stars)
    try:
        measurer = FrameMeasurer(contained, RefusesAll(), lambda: 0.0, look_again=second_looks)
        assert isinstance(measurer.place(frame).outcome, Unsolved)
    finally:
        helper.close()
    assert asked == [(1200, 1600), (600, 800), (420, 560)]


class RefusesAll:
    """A solver to which no list says anything."""

    def solve(self, stars: StarList, *_: object) -> Unsolved:
        return Unsolved(NoTime(), len(stars))


def test_a_field_without_catalogue_stars_is_not_looked_at_again() -> None:
    """Where the catalogue has none, no other list of the frame's stars finds them there."""
    looked = []

    def look_again(frame: Frame, detect: object, hot_pixels: object = None) -> list[Look]:
        looked.append(frame.name)
        return []

    _, image = drawn(9)
    frame = replace(frame_of(image, 3), scale_arcsec_px=Sourced(0.1, "stated"))
    night = FrameMeasurer(Detector(), shared_solver(False), lambda: 0.0, look_again=look_again)  # type: ignore[arg-type]
    got = night.place(frame).outcome
    assert isinstance(got, Unsolved) and isinstance(got.why, ThinCatalogue)
    assert looked == []
