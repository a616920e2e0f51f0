"""Probability inside the tolerance, against scipy: noncentral chi-square, and plain two-dimensional integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.stats import ncx2

from polewright.core.offset import (
    PROVED,
    Offset,
    after_more_frames,
    frames_until_sure,
    good_enough,
    probability_inside,
)


@pytest.mark.parametrize("sigma", [0.02, 0.3, 1.0, 5.0])
@pytest.mark.parametrize("distance", [0.0, 0.5, 0.95, 1.3, 4.0])
def test_round_error_is_noncentral_chi_square(sigma: float, distance: float) -> None:
    offset = Offset(distance * 0.6, -distance * 0.8, ((sigma**2, 0.0), (0.0, sigma**2)))
    expected = ncx2.cdf((1.0 / sigma) ** 2, 2, max(distance / sigma, 1e-12) ** 2)
    assert probability_inside(offset, 1.0) == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize(
    ("mean", "sigmas", "correlation"),
    [((0.3, -0.2), (0.5, 0.1), 0.0), ((0.6, 0.5), (0.4, 0.3), 0.8), ((-1.1, 0.2), (0.3, 0.05), -0.6)],
)
def test_any_ellipse(mean: tuple[float, float], sigmas: tuple[float, float], correlation: float) -> None:
    cross = correlation * sigmas[0] * sigmas[1]
    covariance = ((sigmas[0] ** 2, cross), (cross, sigmas[1] ** 2))
    inverse = np.linalg.inv(covariance)
    norm = 1.0 / (2.0 * math.pi * math.sqrt(np.linalg.det(covariance)))

    def density(y: float, x: float) -> float:
        d = np.array([x - mean[0], y - mean[1]])
        return float(norm * math.exp(-0.5 * d @ inverse @ d))

    expected, _ = dblquad(
        density, -1, 1, lambda x: -math.sqrt(1 - x * x), lambda x: math.sqrt(1 - x * x), epsabs=1e-8
    )
    assert probability_inside(Offset(*mean, covariance), 1.0) == pytest.approx(expected, abs=1e-6)


def test_needle_and_point() -> None:
    flat = ((0.25, 0.0), (0.0, 0.0))
    # a line through (x, 0.6) inside the circle for |x| < 0.8: the normal distribution function from tables
    assert probability_inside(Offset(0.0, 0.6, flat), 1.0) == pytest.approx(
        math.erf(0.8 / 0.5 / math.sqrt(2.0)), abs=1e-6
    )
    assert probability_inside(Offset(0.0, 1.2, flat), 1.0) == 0.0
    nothing = ((0.0, 0.0), (0.0, 0.0))
    assert probability_inside(Offset(0.5, 0.5, nothing), 1.0) == 1.0
    assert probability_inside(Offset(0.8, 0.8, nothing), 1.0) == 0.0
    assert probability_inside(Offset(0.8, 0.8, nothing), 1.0, aim=(0.8, 0.0)) == 1.0


def test_more_frames_help_down_to_what_the_capture_left() -> None:
    shared = ((0.01, 0.0), (0.0, 0.01))
    now = Offset(0.4, 0.0, ((0.17, 0.0), (0.0, 0.17)), readings=1)
    later = after_more_frames(now, shared, 3)
    assert later.covariance_rad2[0][0] == pytest.approx(0.01 + 0.16 / 4.0)
    assert later.readings == 4
    needed = frames_until_sure(now, shared, 1.0)
    assert needed is not None and needed > 0
    assert probability_inside(after_more_frames(now, shared, needed), 1.0) >= 0.95
    assert probability_inside(after_more_frames(now, shared, needed - 1), 1.0) < 0.95
    assert frames_until_sure(Offset(1.2, 0.0, now.covariance_rad2), shared, 1.0) is None


def test_a_proof_promises_more_than_a_claim() -> None:
    edge = Offset(0.35, 0.35, ((0.05, 0.0), (0.0, 0.05)))
    assert 0.95 < probability_inside(edge, 1.0) < 0.99
    assert good_enough(edge, 1.0) and not good_enough(edge, 1.0, sure=PROVED)
    assert not good_enough(Offset(0.7, 0.0, ((0.04, 0.0), (0.0, 0.04))), 1.0)
