"""Detection follows the frame: shifted, brightened, transposed, mirrored."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

import starfields as sf
from polewright.core.model import Frame, StarList
from polewright.services.detector import Detector

BASE = sf.star_field(77, 30, snr=(15.0, 300.0), shape=(320, 400)).frame()
REFERENCE = Detector().detect(BASE)


def detected(pixels: np.ndarray) -> StarList:
    return Detector().detect(replace(BASE, pixels=np.ascontiguousarray(pixels)))


def same_places(stars: StarList, x: np.ndarray, y: np.ndarray, within_px: float) -> float:
    """Share of the places that the list has within the distance."""
    gap = np.hypot(stars.x_px[:, None] - x, stars.y_px[:, None] - y)
    return float((gap.min(axis=0) < within_px).mean())


@settings(max_examples=15, deadline=None)
@given(st.integers(-20, 20), st.integers(-20, 20))
def test_an_integer_shift_shifts_the_centroids(dx: int, dy: int) -> None:
    stars = detected(np.roll(BASE.pixels, (dy, dx), (0, 1)))
    x, y = REFERENCE.x_px + dx, REFERENCE.y_px + dy
    inside = (x > 12) & (x < 387) & (y > 12) & (y < 307)
    bright = REFERENCE.snr > 12
    assert same_places(stars, x[inside & bright], y[inside & bright], 0.02) > 0.9


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 40_000))
def test_a_constant_changes_nothing_but_the_sky(constant: int) -> None:
    stars = detected(BASE.pixels + np.uint16(constant))
    assert same_places(stars, REFERENCE.x_px, REFERENCE.y_px, 0.02) > 0.96
    assert abs(stars.background_adu - REFERENCE.background_adu - constant) < 0.5


@settings(max_examples=10, deadline=None)
@given(st.sampled_from([0.5, 2.0, 3.0, 8.0, 100.0]))
def test_a_factor_scales_the_flux(factor: float) -> None:
    pixels = BASE.pixels.astype(np.float32)
    one, scaled = detected(pixels), detected(pixels * np.float32(factor))
    assert len(one) == len(scaled)
    np.testing.assert_allclose(scaled.x_px, one.x_px, atol=0.01)
    np.testing.assert_allclose(scaled.flux_adu, one.flux_adu * factor, rtol=0.01)
    np.testing.assert_allclose(scaled.snr, one.snr, rtol=0.02)
    np.testing.assert_allclose(scaled.sigma_px, one.sigma_px, rtol=0.02)


def test_transposing_and_mirroring_swap_the_axes() -> None:
    turned = detected(BASE.pixels.T)
    assert same_places(turned, REFERENCE.y_px, REFERENCE.x_px, 0.02) > 0.96
    mirrored = detected(BASE.pixels[:, ::-1])
    assert same_places(mirrored, BASE.width_px - 1 - REFERENCE.x_px, REFERENCE.y_px, 0.02) > 0.96


@settings(max_examples=40, deadline=None)
@given(
    hnp.arrays(
        st.sampled_from([np.uint8, np.uint16]),
        hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=70),
    )
)
def test_any_pixels_give_a_finite_list(pixels: np.ndarray) -> None:
    stars = Detector().detect(Frame("any", pixels, None))
    for values in (stars.x_px, stars.y_px, stars.sigma_px, stars.flux_adu, stars.snr, stars.fwhm_px):
        assert np.isfinite(values).all()
    assert (stars.x_px > -1).all() and (stars.x_px < pixels.shape[1]).all()


@settings(max_examples=40, deadline=None)
@given(
    hnp.arrays(
        np.float32,
        hnp.array_shapes(min_dims=2, max_dims=2, min_side=30, max_side=60),
        elements=st.one_of(
            st.floats(-1e6, 1e6, width=32), st.sampled_from([np.nan, np.inf, -np.inf, 0.0, float(np.float32(3e38))])
        ),
    )
)
def test_any_floats_give_a_finite_list(pixels: np.ndarray) -> None:
    stars = Detector().detect(Frame("any", pixels, None))
    for values in (stars.x_px, stars.y_px, stars.sigma_px, stars.flux_adu, stars.snr, stars.fwhm_px):
        assert np.isfinite(values).all()
