"""The plate fit: exact on exact data, honest about its errors, right in its derivatives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import rotation_about
from polewright.core.attitude import rotation_vector
from polewright.core.camera import pixel_to_vector
from polewright.core.matching.plate_fit import FitPlan, fit_plate
from polewright.core.model import Camera, FloatArray

ATTITUDE = rotation_about(np.array([0.0, 0.6, 0.8]), 1.1)


def exact_field(camera: Camera, count: int, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, camera.width_px, count), rng.uniform(0, camera.height_px, count)
    return x, y, pixel_to_vector(camera, x, y) @ ATTITUDE.T


@pytest.mark.parametrize("mirrored", [False, True])
def test_exact_stars_give_back_camera_and_attitude(mirrored: bool) -> None:
    camera = Camera(1280, 960, 2000.0, mirrored, -0.05, 0.02)
    x, y, v = exact_field(camera, 30, 1)
    start = replace(camera, focal_px=2040.0, k1=0.0, k2=0.0)
    off = ATTITUDE @ rotation_about(np.array([1.0, 0.0, 0.0]), 0.02)
    fit = fit_plate(start, off, x, y, np.full(30, 0.3), v, FitPlan(2, rounds=10))
    assert fit.camera.focal_px == pytest.approx(2000.0, abs=1e-6)
    assert (fit.camera.k1, fit.camera.k2) == pytest.approx((-0.05, 0.02), abs=1e-8)
    np.testing.assert_allclose(fit.camera_to_sky, ATTITUDE, atol=1e-10)
    assert fit.dof == 60 - 6


@pytest.mark.parametrize(("focal", "stars", "terms"), [(30_000.0, 8, 0), (30_000.0, 40, 0), (1800.0, 40, 1)])
def test_covariance_is_what_repeated_noise_gives(focal: float, stars: int, terms: int) -> None:
    """400 noisy copies: normalised squared errors average 1 per dimension (within 4 standard errors)."""
    camera = Camera(1280, 960, focal)
    x, y, v = exact_field(camera, stars, 2)
    rng = np.random.default_rng(3)
    sigma = rng.uniform(0.1, 0.5, stars)
    squares = []
    for _ in range(400):
        noisy = np.array([x, y]) + rng.normal(size=(2, stars)) * sigma
        fit = fit_plate(camera, ATTITUDE, noisy[0], noisy[1], sigma, v, FitPlan(terms))
        eps = rotation_vector(fit.camera_to_sky.T @ ATTITUDE)  # C_true = C @ Rot(eps)
        squares.append(eps @ np.linalg.solve(fit.covariance[:3, :3], eps))
    assert np.mean(squares) / 3.0 == pytest.approx(1.0, abs=4.0 * np.sqrt(2.0 / 3.0 / 400))


def test_a_known_focal_length_holds_the_scale() -> None:
    camera = Camera(1280, 960, 30_000.0)
    x, y, v = exact_field(camera, 4, 5)
    noise = np.random.default_rng(6).normal(size=(2, 4)) * 2.0
    sigma = np.full(4, 2.0)
    free = fit_plate(camera, ATTITUDE, x + noise[0], y + noise[1], sigma, v, FitPlan(0))
    held = fit_plate(camera, ATTITUDE, x + noise[0], y + noise[1], sigma, v, FitPlan(0, 30_000.0, 1e-4))
    assert abs(held.camera.focal_px / 30_000.0 - 1.0) < abs(free.camera.focal_px / 30_000.0 - 1.0)
    assert held.covariance[3, 3] < free.covariance[3, 3]
    assert held.dof == free.dof + 1


def test_stars_in_one_line_do_not_break_it() -> None:
    camera = Camera(1280, 960, 30_000.0)
    x, y = np.array([100.0, 300.0, 700.0, 1100.0]), np.full(4, 479.5)
    v = pixel_to_vector(camera, x, y) @ ATTITUDE.T
    fit = fit_plate(camera, ATTITUDE, x, y, np.full(4, 0.3), v, FitPlan(0))
    assert np.isfinite(fit.covariance).all()
    np.testing.assert_allclose(fit.camera_to_sky, ATTITUDE, atol=1e-6)
