"""The dial shows a turn as the hand makes it: a small part is a small wedge, whole turns a full one."""

from __future__ import annotations

import pytest

from polewright.ui.strips import dial_sweep_deg


@pytest.mark.parametrize(
    ("turns", "sweep_deg"),
    [
        (1 / 120, 3.0),
        (1 / 60, 6.0),
        (1 / 1000, 3.0),
        (1 / 8, 45.0),
        (0.5, 180.0),
        (1.0, 338.0),
        (2.0, 338.0),
        (3.25, 90.0),
        (0.99, 338.0),
    ],
)
def test_a_turn_on_the_dial(turns: float, sweep_deg: float) -> None:
    assert dial_sweep_deg(turns) == pytest.approx(sweep_deg, abs=1e-5)
