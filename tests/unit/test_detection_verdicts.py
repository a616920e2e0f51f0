"""Why the program cannot use a frame: one cause, with its numbers."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from unittest.mock import Mock

import numpy as np
import pytest

import starfields as sf
from polewright.core.detection.rings import count_rings
from polewright.core.detection.verdict import FrameFacts, judge
from polewright.core.model import Frame, StarList
from polewright.core.star_trouble import CapOn, OutOfFocus, TooBright, TooFewStars, Trailed
from polewright.core.unsolved import FrameTrouble, trouble_of
from polewright.services import detector
from polewright.services.detector import Detector
from polewright.services.smeared_pass import level

SHAPE = (720, 960)


def flat(value: float, dtype: type = np.uint16, noise: float = 0.0) -> Frame:
    image = np.full(SHAPE, float(value)) + noise * np.random.default_rng(1).normal(0.0, 1.0, SHAPE)
    return Frame("flat", np.clip(np.rint(image), 0, np.iinfo(dtype).max).astype(dtype), None)


def detected(field: sf.Field, exposure_s: float | None = None) -> StarList:
    return Detector().detect(field.frame(exposure_s=exposure_s))


def test_a_good_frame_needs_no_verdict() -> None:
    stars = detected(sf.star_field(1, 30, shape=SHAPE))
    assert stars.trouble is None


def test_black() -> None:
    stars = Detector().detect(flat(0.0))
    assert len(stars) == 0
    assert stars.trouble == CapOn(0.0)


def test_white_and_nearly_white() -> None:
    for frame in (flat(65535.0), flat(255.0, np.uint8), flat(65400.0, noise=300.0)):
        stars = Detector().detect(frame)
        assert len(stars) == 0
        assert isinstance(stars.trouble, TooBright)


def test_cap_left_on() -> None:
    stars = Detector().detect(flat(300.0, noise=4.0))
    assert len(stars) == 0
    assert stars.trouble is not None and trouble_of(stars.trouble) is FrameTrouble.NO_STARS


def test_three_stars_ask_for_a_longer_exposure() -> None:
    stars = detected(sf.star_field(2, 3, snr=60.0, shape=SHAPE), exposure_s=0.5)
    assert isinstance(stars.trouble, TooFewStars)
    assert (stars.trouble.found, stars.trouble.needed, stars.trouble.better_s) == (3, 8, 2.0)


def test_three_wide_stars_ask_for_focus() -> None:
    stars = detected(sf.star_field(3, 3, fwhm_px=11.0, snr=80.0, shape=SHAPE), exposure_s=0.5)
    assert isinstance(stars.trouble, OutOfFocus) and stars.trouble.stars == 3 and round(stars.trouble.width_px) == 11


def test_wide_stars_are_out_of_focus() -> None:
    stars = detected(sf.star_field(4, 20, fwhm_px=12.0, snr=(60.0, 300.0), shape=SHAPE))
    assert isinstance(stars.trouble, OutOfFocus) and round(stars.trouble.width_px) == 12
    assert len(stars) >= 20


def test_rings_are_far_out_of_focus() -> None:
    field = sf.star_field(5, 15, snr=(60.0, 300.0), shape=SHAPE, apart_px=80.0)
    field.image[:] = 1000.0 + field.rng.normal(0.0, 20.0, SHAPE)
    for x, y, snr in zip(field.x_px, field.y_px, field.snr):
        sf.add_ring(field.image, x, y, float(sf.flux_of(2.0 * snr, 15.0, 20.0)), 9.0, 4.0)
    stars = detected(field)
    assert isinstance(stars.trouble, OutOfFocus) and stars.trouble.rings
    assert sf.matched(field, stars).recall > 0.8


def test_huge_rings_are_counted_in_little_memory() -> None:
    """Whole windows of rings of 150 px cost 0.7 s and, of 24 of them, a hundred megabytes."""
    image = 1000.0 + np.random.default_rng(5).normal(0.0, 20.0, (1600, 1600))
    x, y = np.repeat([300.0, 800.0, 1300.0], 3), np.tile([300.0, 800.0, 1300.0], 3)
    for place in zip(x, y):
        sf.add_ring(image, *place, 1e7, 75.0, 30.0)
    pixels = np.rint(image).astype(np.uint16)
    tracemalloc.start()
    count = count_rings(pixels, x, y, 50.0)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 9 and most < 4e6


def trails(length_px: float) -> sf.Field:
    field = sf.star_field(
        6, 20, snr=(60.0, 400.0), shape=SHAPE, apart_px=2.2 * length_px if length_px < 60 else 100.0
    )
    field.image[:] = 1000.0 + field.rng.normal(0.0, 20.0, SHAPE)
    for x, y, snr in zip(field.x_px, field.y_px, field.snr):
        sf.add_streak(field.image, x, y, float(sf.flux_of(4.0 * snr, 3.0, 20.0)), 1.27, length_px, 0.6)
    return field


def test_a_trailed_frame_is_levelled_once(monkeypatch: pytest.MonkeyPatch) -> None:
    levelled = Mock(wraps=level)
    monkeypatch.setattr(detector, "level", levelled)
    assert isinstance(detected(trails(90.0)).trouble, Trailed)
    shapes = [small.shape for (small,), _ in levelled.call_args_list]
    assert shapes.count((SHAPE[0] // 2, SHAPE[1] // 2)) == 1


def test_untracked_stars_are_called_trailed() -> None:
    for length in (30.0, 90.0):
        stars = detected(trails(length), exposure_s=30.0)
        assert isinstance(stars.trouble, Trailed) and stars.trouble.exposure_s == 30.0
        assert abs(stars.trouble.length_px / length - 1.0) < 0.1


def test_pieces_of_long_trails_are_not_called_out_of_focus() -> None:
    """Found among 48 frames of 30 s without tracking: 4 and 3 trails were whole, the others had fallen to pieces."""
    for stars, trailed, long_px, wide_px in ((77, 4, 135.0, 63.0), (23, 3, 147.0, 9.6)):
        facts = FrameFacts(900.0, 4000.0, 0.0, 30.0, stars, wide_px, trailed, long_px)
        assert isinstance(judge(facts), Trailed)
        assert isinstance(judge(replace(facts, trailed=2)), OutOfFocus), "two streaks are no trails"
        assert isinstance(judge(replace(facts, trail_px=1.5 * wide_px)), OutOfFocus), "astigmatism, not a trail"


def test_the_middles_of_trails_are_offered() -> None:
    field = trails(30.0)
    stars = detected(field)
    match = sf.matched(field, stars)
    assert match.recall > 0.8
    assert np.sqrt(np.mean(match.dx_px**2 + match.dy_px**2)) < 0.5
    assert match.false.size == 0


def test_a_bright_satellite_is_not_trailed_stars() -> None:
    field = sf.star_field(7, 15, snr=(20.0, 300.0), shape=SHAPE)
    for angle in (0.3, 0.31):
        sf.add_streak(field.image, 480.0, 360.0 + 300.0 * (angle - 0.3) * 50, 2e6, 1.3, 700.0, angle)
    assert detected(field).trouble is None
