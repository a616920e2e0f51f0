"""The uncertainty shown while the RA axis is rotated is the whole one, so that no later stage takes it back."""

from __future__ import annotations

import pytest

from polewright.core.night.measured import MeasuredAxis

ARCSEC = 4.84813681109536e-6


def axis(whole_arcsec: float) -> MeasuredAxis:
    variance = 0.5 * (whole_arcsec * ARCSEC) ** 2
    return MeasuredAxis(0.0, 0.0, ((variance, 0.0), (0.0, variance)))


def test_without_a_budget_frames_can_mend_everything() -> None:
    assert axis(40.0).sigma_with_rad(3.0 * ARCSEC) == pytest.approx(3.0 * ARCSEC)


def test_what_frames_cannot_mend_stays() -> None:
    """13 of 40 arcsec are air and mount: however sure the frames, no less is promised."""

    class Stars(MeasuredAxis):
        @property
        def chance_sigma_rad(self) -> float:
            return (40.0**2 - 13.0**2) ** 0.5 * ARCSEC

    whole = axis(40.0)
    mixed = Stars(whole.east_rad, whole.up_rad, whole.covariance_rad2)
    assert mixed.sigma_with_rad(0.6 * ARCSEC) == pytest.approx((13.0**2 + 0.6**2) ** 0.5 * ARCSEC)
    assert mixed.sigma_with_rad(mixed.chance_sigma_rad) == pytest.approx(mixed.sigma_rad)
