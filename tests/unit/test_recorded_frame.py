"""What a replay shows of a frame: its stars at least, whatever the record has suffered."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polewright.ui.driving.recorded_frame import recorded_frame, recorded_picture

STARS = {"x_px": [10.0, 20.0, 30.0], "y_px": [5.0, 6.0, 7.0], "width_px": 1280, "height_px": 960}
LINE = {"name": "a", "file": "", "stars": STARS, "solution": {"matched": {"x_px": [20.0], "y_px": [6.0]}}}


def test_stars_come_with_those_that_matched(tmp_path: Path) -> None:
    recorded = recorded_frame(LINE)
    assert recorded.matched.tolist() == [False, True, False]
    picture = recorded_picture("a", recorded, tmp_path, tmp_path)
    assert picture is not None
    assert picture.pixels.shape == (480, 640) and not picture.pixels.any()
    np.testing.assert_allclose(picture.stars_px, (recorded.stars_px - 0.5) / 2)
    assert (picture.stars_text, picture.width_text) == ("3 stars, 1 matched", "frame not kept")


@pytest.mark.parametrize(
    "stars",
    [
        None,
        7,
        {},
        {**STARS, "x_px": "many"},
        {**STARS, "x_px": [1.0]},
        {**STARS, "y_px": [float("nan")] * 3},
        {**STARS, "x_px": [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]},
        {**STARS, "width_px": 10**9},
        {**STARS, "height_px": -4},
    ],
)
def test_a_damaged_record_shows_nothing_and_takes_no_memory(stars: Any, tmp_path: Path) -> None:
    assert recorded_picture("a", recorded_frame({**LINE, "stars": stars}), tmp_path, tmp_path) is None
