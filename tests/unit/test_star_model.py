"""The Gaussian star that moments describe."""

from __future__ import annotations

import numpy as np

from polewright.core.detection.moments import PIXEL_VARIANCE, Moments, model


def test_a_narrow_slanted_star_stays_finite() -> None:
    """Without the pixel's own width the ellipse of these moments would have no inside."""
    one = np.ones(1)
    slanted = Moments(
        x=5.0 * one,
        y=5.0 * one,
        weighted_flux=100.0 * one,
        weight_px=one,
        xx=(PIXEL_VARIANCE + 0.06) * one,
        xy=0.12 * one,
        yy=(PIXEL_VARIANCE + 0.06) * one,
        travel_px=0.0 * one,
    )
    light = model(slanted, 11)
    assert np.isfinite(light).all() and light.max() > 0.0
