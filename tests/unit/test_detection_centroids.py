"""Centroids, errors, widths and strengths of stars whose truth is known, and of an independent library."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import starfields as sf
from polewright.core.detection.measure import FLOOR_SIGMA_PX
from polewright.core.model import Frame, StarFlag
from polewright.core.star_trouble import TooSmall
from polewright.services.detector import Detector


@pytest.mark.parametrize("fwhm_px", [1.5, 2.0, 3.0, 5.0, 8.0])
def test_very_bright_stars_are_found_where_they_are(fwhm_px: float) -> None:
    field = sf.star_field(11, 40, fwhm_px=fwhm_px, snr=(3000.0, 9000.0), noise_adu=0.5, electrons_per_adu=0.0)
    match = sf.matched(field, Detector().detect(field.frame(np.float32)))
    assert match.recall == 1.0
    # the pixel phase of undersampled stars leaves 0.02 px; at SNR 3000 noise leaves 0.002 px
    allowed = 0.06 if fwhm_px < 1.8 else 0.006
    assert np.abs(np.concatenate((match.dx_px, match.dy_px))).max() < allowed


@pytest.mark.parametrize("fwhm_px", [2.0, 3.0, 6.0])
@pytest.mark.parametrize("snr", [10.0, 30.0, 200.0])
def test_stated_errors_are_the_true_ones(fwhm_px: float, snr: float) -> None:
    errors, stated = [], []
    for seed in range(3):
        field = sf.star_field(seed, 60, fwhm_px=fwhm_px, snr=snr, shape=(640, 800), wander_px=FLOOR_SIGMA_PX)
        stars = Detector().detect(field.frame())
        match = sf.matched(field, stars)
        errors += [match.dx_px, match.dy_px]
        stated += [stars.sigma_px[match.found]] * 2
    pull = np.sqrt(np.mean((np.concatenate(errors) / np.concatenate(stated)) ** 2))
    assert 0.8 < pull < 1.25


def test_centroid_error_reaches_the_bound_of_the_sky_noise() -> None:
    """Background-limited bound for a Gaussian star: sigma_x = s sqrt(2) / SNR.

    I. R. King, PASP 95, 163 (1983), with the SNR of the optimal filter; rederived: Fisher information of x is
    (SNR^2 / 2 s^2).
    """
    errors = []
    for seed in range(4):
        field = sf.star_field(seed, 60, fwhm_px=3.0, snr=20.0, shape=(640, 800), electrons_per_adu=0.0)
        match = sf.matched(field, Detector().detect(field.frame()))
        errors += [match.dx_px, match.dy_px]
    width = np.hypot(3.0 / sf.FWHM_PER_SIGMA, np.sqrt(1.0 / 12.0))
    bound = width * np.sqrt(2.0) / 20.0
    rms = np.sqrt(np.mean(np.concatenate(errors) ** 2))
    assert rms < 0.10
    assert 0.9 * bound < rms < 1.2 * bound


@pytest.mark.parametrize("fwhm_px", [1.5, 3.0, 6.0, 10.0])
def test_width_and_strength_are_honest(fwhm_px: float) -> None:
    field = sf.star_field(5, 40, fwhm_px=fwhm_px, snr=40.0, shape=(900, 1100), electrons_per_adu=0.0)
    stars = Detector().detect(field.frame())
    match = sf.matched(field, stars)
    assert match.recall > 0.97
    assert np.median(stars.fwhm_px[match.found]) == pytest.approx(fwhm_px, rel=0.04)
    # an undersampled star is no Gaussian on its pixels: the residual counts as noise, and its SNR is stated low
    assert np.median(stars.snr[match.found]) == pytest.approx(40.0, rel=0.15 if fwhm_px > 2.0 else 0.25)
    true_flux = sf.flux_of(40.0, fwhm_px, field.noise_adu)
    assert np.median(stars.flux_adu[match.found]) == pytest.approx(float(true_flux), rel=0.05)


def test_sky_and_noise_are_measured() -> None:
    field = sf.star_field(6, 40, sky_adu=730.0, noise_adu=11.0)
    stars = Detector().detect(field.frame())
    assert stars.background_adu == pytest.approx(730.0, abs=1.0)
    assert stars.noise_adu == pytest.approx(11.0, rel=0.04)


def test_the_list_is_brightest_first() -> None:
    stars = Detector().detect(sf.star_field(7, 60).frame())
    assert (np.diff(stars.flux_adu) <= 0.0).all()


def test_centroids_agree_with_windowed_positions_of_sep() -> None:
    """sep.winpos is an independent implementation of windowed centroids (Bertin's XWIN_IMAGE, SExtractor manual)."""
    import sep

    field = sf.star_field(8, 40, snr=(60.0, 400.0))
    frame = field.frame()
    stars = Detector().detect(frame)
    image = frame.pixels.astype(np.float64)
    image -= sep.Background(image).back()
    x, y, flag = sep.winpos(image, stars.x_px, stars.y_px, np.full(len(stars), 3.0 / sf.FWHM_PER_SIGMA))
    assert len(stars) == 40 and not flag.any()
    assert np.median(np.hypot(stars.x_px - x, stars.y_px - y)) < 0.02


def test_close_pairs_are_both_found() -> None:
    field = sf.star_field(9, 30, snr=(60.0, 200.0), shape=(600, 800), apart_px=50.0)
    flux = sf.flux_of(field.snr, 3.0, field.noise_adu)
    for x, y, f in zip(field.x_px, field.y_px, flux):
        sf.add_star(field.image, x + 4.0, y + 4.0, 0.7 * float(f), 3.0 / sf.FWHM_PER_SIGMA)
    stars = Detector().detect(field.frame())
    assert sf.matched(field, stars, 1.0).recall > 0.95
    field.x_px, field.y_px = field.x_px + 4.0, field.y_px + 4.0
    partner = sf.matched(field, stars, 1.0)
    assert partner.recall > 0.9
    assert (stars.flags[partner.found] & StarFlag.BLENDED).all()


def test_stars_at_the_edge_are_flagged() -> None:
    field = sf.star_field(10, 30, snr=(60.0, 200.0))
    sf.add_star(field.image, 2.0, 240.0, 30_000.0, 1.3)
    stars = Detector().detect(field.frame())
    edge = (stars.flags & StarFlag.EDGE) != 0
    assert edge.sum() == 1
    assert stars.x_px[edge][0] == pytest.approx(2.0, abs=0.3)


def test_eight_threads_get_the_same_lists() -> None:
    frames = [sf.star_field(seed, 20 + 10 * seed).frame() for seed in range(4)]
    detector = Detector()
    alone = [detector.detect(frame) for frame in frames]
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(detector.detect, frames * 4))
    for i, stars in enumerate(together):
        for name in ("x_px", "y_px", "sigma_px", "flux_adu", "snr", "fwhm_px", "flags"):
            np.testing.assert_array_equal(getattr(stars, name), getattr(alone[i % 4], name))


def test_the_frame_is_left_alone() -> None:
    frame = sf.star_field(12, 12).frame()
    before = frame.pixels.copy()
    frame.pixels.setflags(write=False)
    Detector().detect(frame)
    np.testing.assert_array_equal(frame.pixels, before)


def test_a_tiny_frame_is_refused_with_a_cure() -> None:
    stars = Detector().detect(Frame("tiny", np.zeros((4, 300), dtype=np.uint8), None))
    assert len(stars) == 0 and stars.trouble == TooSmall(32)
