"""The dial shows a turn as the hand makes it: a small part is a small wedge, whole turns a full one."""

from __future__ import annotations

import pytest

from polewright.ui.strips import arrow_deg, dial_sweep_deg


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


def test_the_arrow_of_a_small_turn_lies_on_the_side_of_the_turn() -> None:
    """It begins at twelve and ends where the hand goes; the wedge alone is true to the angle."""
    assert arrow_deg(dial_sweep_deg(1 / 60)) == pytest.approx(30.0)
    assert arrow_deg(dial_sweep_deg(0.5)) == pytest.approx(180.0, abs=1e-5)
