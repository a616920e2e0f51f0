"""How long arcs are: drawn ones walked from end to end, and the median of lengths of which some are only bounds."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.detection.arcs import _median, usual_length_px
from polewright.core.model import FloatArray


def _drawn(radius_px: FloatArray, begin_rad: float, turn_rad: float, noise: float, gap: bool = False) -> FloatArray:
    """Arcs about a pole left of the frame, 1.2 px wide, ten times the noise; a gap is 6 px long."""
    image = np.random.default_rng(1).normal(size=(600, 800)) * noise
    rows, columns = np.mgrid[0:600, 0:800]
    away, angle = np.hypot(columns + 100.0, rows - 300.0), np.arctan2(rows - 300.0, columns + 100.0)
    on = (angle > begin_rad) & (angle < begin_rad + turn_rad)
    if gap:
        on &= np.abs(angle - begin_rad - 0.4 * turn_rad) * away > 3.0
    for radius in radius_px:
        image += 10.0 * np.exp(-0.5 * ((away - radius) / 1.2) ** 2) * on
    return np.asarray(image)


@pytest.mark.parametrize("gap", [False, True])
@pytest.mark.parametrize("turn_rad", [0.15, 0.4, 0.7])
def test_arcs_are_as_long_as_they_were_drawn(turn_rad: float, gap: bool) -> None:
    radii = np.arange(250.0, 700.0, 60.0)
    image = _drawn(radii, -0.3 * turn_rad, turn_rad, 1.0, gap)
    assert usual_length_px(image) == pytest.approx(np.median(radii) * turn_rad, rel=0.2)


def test_a_frame_of_noise_has_no_arcs() -> None:
    assert usual_length_px(np.random.default_rng(2).normal(size=(600, 800))) == 0.0
    assert usual_length_px(np.zeros((40, 30))) == 0.0


def test_lengths_that_are_only_bounds_count_as_that() -> None:
    """Remission under 6-MP, weeks (Freireich and others 1963, Blood 21; the sample of textbooks on the product limit,
    numbers from memory): the median is 23, that of the ended ones alone 13 or less."""
    ended = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    longer = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    length = np.array(ended + longer, dtype=float)
    assert _median(length, np.arange(length.size) < len(ended)) == 23.0


def test_arcs_that_all_leave_the_frame_are_at_least_as_long_as_seen() -> None:
    assert _median(np.array([50.0, 80.0]), np.zeros(2, dtype=bool)) == 80.0
    assert _median(np.zeros(0), np.zeros(0, dtype=bool)) == 0.0
