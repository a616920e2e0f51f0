"""The hot pixel mask learns only while the sky moves."""

from __future__ import annotations

import numpy as np
import pytest

import starfields as sf
from polewright.core.detection.hot_pixels import HotPixelMask, replaced_by_neighbours
from polewright.core.model import Frame, StarList
from polewright.services.detector import Detector

SHAPE = (480, 640)


def places(stars: StarList) -> np.ndarray:
    return np.stack((stars.x_px, stars.y_px), axis=1)


def lumps(image: np.ndarray, at: np.ndarray) -> None:
    """Star-like clumps of hot pixels: shape alone cannot tell them from stars."""
    for x, y in at.astype(int):
        image[y - 1 : y + 2, x - 1 : x + 2] += np.array([[300, 800, 300], [800, 1500, 800], [300, 800, 300]])


@pytest.fixture
def sequence() -> tuple[list[Frame], np.ndarray, list[sf.Field]]:
    at = np.stack(sf.places(np.random.default_rng(3), 12, SHAPE, 60.0), axis=1).round()
    frames, fields = [], []
    for step in range(4):
        field = sf.star_field(5, 30, fwhm_px=2.5, snr=(30.0, 200.0), shape=SHAPE)
        rng = np.random.default_rng(100 + step)
        field.image = np.full(SHAPE, 1000.0) + rng.normal(0.0, 20.0, SHAPE)
        field.x_px = field.x_px + 7.0 * step
        for x, y, flux in zip(field.x_px, field.y_px, sf.flux_of(field.snr, 2.5, 20.0)):
            sf.add_star(field.image, x, y, float(flux), 2.5 / sf.FWHM_PER_SIGMA)
        lumps(field.image, at)
        frames.append(field.frame())
        fields.append(field)
    return frames, at, fields


def near(stars: StarList, at: np.ndarray) -> int:
    gap = np.hypot(stars.x_px[:, None] - at[:, 0], stars.y_px[:, None] - at[:, 1])
    return int((gap.min(axis=0) < 1.5).sum())


def test_what_stays_put_while_the_sky_moves_is_masked(sequence) -> None:  # type: ignore[no-untyped-def]
    frames, at, fields = sequence
    detector, mask = Detector(), HotPixelMask.empty(*SHAPE)
    lists = []
    for frame in frames:
        stars = detector.detect(frame, mask)
        lists.append(stars)
        mask = mask.update(places(stars), 7.0)
    assert near(lists[0], at) >= 11
    assert near(lists[2], at) >= 11, "one move proves nothing"
    assert near(lists[3], at) <= 3
    assert sf.matched(fields[3], lists[3]).recall > 0.95


def test_perfect_tracking_masks_no_star(sequence) -> None:  # type: ignore[no-untyped-def]
    frames, _, _ = sequence
    detector, mask = Detector(), HotPixelMask.empty(*SHAPE)
    first = detector.detect(frames[0])
    for moved in (0.0, 0.4, np.nan, 3.9):
        mask = mask.update(places(first), moved)
    assert len(mask) == 0
    assert len(detector.detect(frames[0], mask)) == len(first)


def test_there_and_back_masks_no_star() -> None:
    """The sky moves by 3.9 px and by 4.1 px back: the stars stand where they stood two frames ago."""
    star = np.array([[50.0, 50.0]])
    mask = HotPixelMask.empty(*SHAPE).update(star, np.nan).update(star + 3.9, 3.9).update(star - 0.2, 4.1)
    assert len(mask) == 0


def test_a_move_during_the_exposure_masks_no_star() -> None:
    """Such a frame shows the stars of the frame before once more, and those of the next one already."""
    old = np.array([[50.0, 50.0], [200.0, 90.0]])
    new = old + 60.0
    mask = HotPixelMask.empty(*SHAPE).update(old, np.nan).update(np.concatenate([old, new]), 60.0)
    mask = mask.update(new, 0.3).update(new + 30.0, 30.0).update(old, 90.0)
    assert len(mask) == 0


def test_a_suspect_waits_for_the_next_move() -> None:
    clump = np.array([[50.0, 50.0]])
    mask = HotPixelMask.empty(*SHAPE).update(clump, np.nan).update(clump, 9.0).update(clump, 0.0)
    assert len(mask) == 0
    assert mask.update(clump, 9.0).hot[50, 50]


def test_a_clump_is_masked_with_its_neighbours() -> None:
    mask = HotPixelMask.empty(*SHAPE).update(np.array([[10.0, 10.0], [50.0, 50.0]]), np.nan)
    mask = mask.update(np.array([[10.1, 9.9], [55.0, 50.0]]), 5.0)
    assert len(mask) == 0
    mask = mask.update(np.array([[10.0, 10.1], [60.0, 50.0]]), 5.0)
    assert mask.hot[9:12, 9:12].all() and len(mask) == 9


def test_motion_may_differ_over_the_frame() -> None:
    """Near the pole of rotation the sky stands still: nothing is learned there."""
    at = np.array([[10.0, 10.0], [300.0, 200.0]])
    mask = HotPixelMask.empty(*SHAPE).update(at, 0.0)
    for _ in range(2):
        mask = mask.update(at, np.array([9.0, 1.0]))
    assert mask.hot[10, 10] and not mask.hot[200, 300]


def test_mending_uses_good_neighbours_and_copies() -> None:
    pixels = np.full(SHAPE, 100, dtype=np.uint16)
    pixels[0, 0], pixels[20, 30], pixels[20, 31] = 5000, 6000, 7000
    hot = pixels > 1000
    mended = HotPixelMask(hot.shape, np.flatnonzero(hot), np.zeros((0, 2))).mended(pixels)
    assert (mended == 100).all() and pixels[20, 30] == 6000
    assert HotPixelMask.empty(*SHAPE).mended(pixels) is pixels
    assert HotPixelMask.empty(10, 10).mended(pixels) is pixels


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
def test_a_bad_pixel_becomes_the_median_of_its_good_neighbours(kind: type) -> None:
    """Against numpy.nanmedian, one pixel at a time; at the edge a neighbour counts as often as it stands in for one
    that lies outside."""
    rng = np.random.default_rng(4)
    pixels: np.ndarray = rng.integers(0, 250, (30, 40)).astype(kind)
    bad = rng.random(pixels.shape) < 0.3
    bad[0, :3] = bad[12:19, 20:27] = True  # a corner, and pixels without a good neighbour
    mended = replaced_by_neighbours(pixels, bad)
    assert np.array_equal(mended[~bad], pixels[~bad])
    framed = np.pad(np.where(bad, np.nan, pixels.astype(float)), 2, mode="edge")
    for y, x in np.argwhere(bad):
        around = np.delete(framed[y : y + 5, x : x + 5].ravel(), 12)
        wanted = np.median(pixels) if np.isnan(around).all() else np.nanmedian(around)
        assert mended[y, x] == np.array(wanted).astype(kind)
