"""Attitudes: exactness, covariance against Monte Carlo, and scipy's rotation code as an independent reference."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polewright.core.angles import rotation_about, separation_rad, unit
from polewright.core.attitude import fit_attitude, rotation_vector
from polewright.core.camera import pixel_to_vector
from polewright.core.model import Camera


def star_vectors(count: int, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    camera = Camera(1280, 960, 9900.0)
    return pixel_to_vector(camera, rng.uniform(0, 1279, count), rng.uniform(0, 959, count))


@pytest.mark.parametrize("angle", [1e-9, 1e-5, 0.3, 1.0, 3.1, 3.14159])
def test_rotation_vector_agrees_with_scipy(angle: float) -> None:
    axis = unit(np.array([0.3, -0.5, 0.8]))
    matrix = rotation_about(axis, angle)
    expected = Rotation.from_matrix(matrix).as_rotvec()  # reference library: scipy.spatial.transform
    assert rotation_vector(matrix) == pytest.approx(expected, abs=1e-14)
    assert separation_rad(unit(rotation_vector(matrix)), axis) < 1e-6


def test_fit_agrees_with_scipy_and_is_exact_without_noise() -> None:
    v = star_vectors(12)
    truth = rotation_about(unit(np.array([1.0, 2.0, 3.0])), 2.2)
    sky = v @ truth.T
    weights = np.linspace(0.5, 2.0, 12)
    fitted = fit_attitude(v, sky, 1.0 / np.sqrt(weights)).camera_to_sky
    expected = Rotation.align_vectors(sky, v, weights=weights)[0].as_matrix()
    assert fitted == pytest.approx(truth, abs=1e-12)
    assert fitted == pytest.approx(expected, abs=1e-12)
    assert np.linalg.det(fitted) == pytest.approx(1.0, abs=1e-12)


def test_covariance_is_what_monte_carlo_finds() -> None:
    v = star_vectors(40)
    sigma = 1e-5
    rng = np.random.default_rng(5)
    errors = []
    for _ in range(1500):
        sky = unit(v + rng.normal(size=v.shape) * sigma)
        errors.append(rotation_vector(fit_attitude(v, sky, np.full(40, sigma)).camera_to_sky.T))
    found = np.cov(np.array(errors).T)
    predicted = fit_attitude(v, v, np.full(40, sigma)).covariance_rad2
    # 1500 trials: the standard deviation is known to 1.8 %
    assert np.sqrt(np.diag(found)) == pytest.approx(np.sqrt(np.diag(predicted)), rel=0.08)
    # roll is worse than pointing by 1 / rms field radius (Liebe, IEEE Trans. AES 38(2), 587, 2002)
    radius = np.sqrt(np.mean(v[:, 0] ** 2 + v[:, 1] ** 2))
    assert np.sqrt(predicted[2, 2] / predicted[0, 0]) == pytest.approx(1.0 / radius, rel=0.1)
