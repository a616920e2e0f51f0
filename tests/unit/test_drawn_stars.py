"""Stars that a moving mount has drawn out: read at the place of mid-exposure, with an honest error.

Synthetic frames with known motion, and the simulated mount. That the median of the light is the place at mid-exposure
for any motion that goes one way follows from its definition; nothing here is taken from the program.
"""

from __future__ import annotations

import numpy as np
import pytest

import starfields as sf
from polewright.core.camera import moved_alike_rad2
from polewright.core.detection.ramp import fit_ramp
from polewright.core.model import Camera, FloatArray, StarList
from polewright.services.detector import Detector

ANGLE_RAD = 0.7
FWHM_PX = 2.2


def drawn_field(
    seed: int, length_px: float, stands: float = 0.0, count: int = 50, angle_rad: float = ANGLE_RAD
) -> sf.Field:
    """Stars that stand for a share of the exposure, then move evenly by the length; their places are those of
    mid-exposure."""
    c, s = float(np.cos(angle_rad)), float(np.sin(angle_rad))
    field = sf.star_field(
        seed, 0, snr=(30.0, 300.0), shape=(600, 800), fwhm_px=FWHM_PX, apart_px=max(40.0, 1.6 * length_px)
    )
    x, y = sf.places(field.rng, count, (600, 800), max(30.0, 1.3 * length_px))
    snr = np.exp(field.rng.uniform(np.log(60.0), np.log(600.0), x.size))
    flux = sf.flux_of(snr, FWHM_PX, field.noise_adu) * np.sqrt(max(1.0, length_px / FWHM_PX))
    sigma = FWHM_PX / sf.FWHM_PER_SIGMA
    first = -max(0.0, 0.5 - stands) / (1.0 - stands) * length_px  # where they stood, against mid-exposure
    for a, b, f in zip(x, y, flux, strict=True):
        sf.add_star(field.image, a + first * c, b + first * s, stands * f, sigma)
        middle = first + 0.5 * length_px
        sf.add_streak(field.image, a + middle * c, b + middle * s, (1.0 - stands) * f, sigma, length_px, angle_rad)
    field.image = field.image + 0.0
    return sf.Field(field.image, field.noise_adu, field.sky_adu, field.rng, x, y, snr)


_C, _S = float(np.cos(ANGLE_RAD)), float(np.sin(ANGLE_RAD))


def shared_off(field: sf.Field, stars: StarList) -> tuple[float, float]:
    """Median error along the path, px, and its stated sigma."""
    match = sf.matched(field, stars, 4.0)
    assert len(match.truth) >= 20
    along = match.dx_px * _C + match.dy_px * _S
    return float(np.median(along)), float(np.hypot(*stars.shared_error[:2]))


@pytest.mark.parametrize("stands", [0.0, 0.35, 0.65])
@pytest.mark.parametrize("length_px", [8.0, 30.0, 60.0])
def test_stars_are_read_where_they_stood_at_mid_exposure(length_px: float, stands: float) -> None:
    count = 50 if length_px < 40.0 else 28
    field = drawn_field(3, length_px, stands, count)
    off_px, sigma_px = shared_off(field, Detector().detect(field.frame()))
    assert abs(off_px) < 3.0 * max(sigma_px, 0.03)
    assert sigma_px < 0.03 * length_px + 0.2


@pytest.mark.parametrize("angle_rad", [0.0, 0.05, 1.57])
@pytest.mark.parametrize("length_px", [30.0, 60.0])
def test_stars_that_stood_for_most_of_the_exposure_are_read_at_their_heads_with_a_doubt(
    length_px: float, angle_rad: float
) -> None:
    """Also along a row or a column, where a readout may have drawn the tail: a mount that stops creeps on."""
    field = drawn_field(3, length_px, 0.6, 28, angle_rad)
    stars = Detector().detect(field.frame())
    match = sf.matched(field, stars, 4.0)
    assert len(match.truth) >= 20
    sigma_px = float(np.hypot(*stars.shared_error[:2]))
    assert 0.01 * length_px < sigma_px < 0.03 * length_px + 0.2
    assert abs(np.median(match.dx_px)) < sigma_px and abs(np.median(match.dy_px)) < sigma_px


def test_still_stars_and_double_stars_are_not_drawn() -> None:
    still = sf.star_field(4, 40, fwhm_px=FWHM_PX, snr=(30.0, 300.0), shape=(600, 800))
    assert Detector().detect(still.frame()).shared_error == (0.0, 0.0, 0.0, 0.0)
    double = sf.star_field(4, 40, fwhm_px=FWHM_PX, snr=(30.0, 300.0), shape=(600, 800), apart_px=40.0)
    flux = sf.flux_of(double.snr, FWHM_PX, double.noise_adu)
    for x, y, f in zip(double.x_px, double.y_px, flux, strict=True):
        sf.add_star(double.image, x + 12.0, y + 9.0, float(f), FWHM_PX / sf.FWHM_PER_SIGMA)
    assert Detector().detect(double.frame()).shared_error == (0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize(("first", "last"), [(0.0, 0.0), (0.3, 0.0), (0.7, 0.0), (0.1, 0.6), (0.2, 0.2)])
def test_a_ramp_gives_back_its_middle(first: float, last: float) -> None:
    u = np.arange(-40.0, 40.5, 0.5)
    fine = np.linspace(-15.0, 15.0, 3001)

    def bell(at: float) -> FloatArray:
        return np.asarray(np.exp(-0.5 * ((u - at) / 1.1) ** 2))

    light = (1.0 - first - last) * sum(bell(at) for at in fine) / fine.size + first * bell(-15.0) + last * bell(15.0)
    ramp = fit_ramp(u, light / light.sum(), 1.0)
    assert ramp is not None
    at = np.clip((0.5 - first) / (1.0 - first - last), 0.0, 1.0)
    assert ramp.middle_px == pytest.approx(-15.0 + 30.0 * at, abs=0.05)


def test_a_move_of_the_whole_picture_turns_the_camera() -> None:
    camera = Camera(1280, 960, 9900.0)
    covariance = moved_alike_rad2(camera, (3.0, 0.0, 0.0, 0.0))
    assert covariance[1, 1] == pytest.approx((3.0 / 9900.0) ** 2) and covariance[0, 0] == 0.0
    assert moved_alike_rad2(camera, (0.0, 0.0, 0.0, 1e-4))[2, 2] == pytest.approx(1e-8)
