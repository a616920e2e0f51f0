"""Captures that lie, through files and the command line: nothing comes out silently wrong but what cannot be seen.

All cases are run by tests/bench/lying_data.py; here those that take no new picture.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lying import Capture, ask, honest
from lying_cases import CALM, CASES, Case

GUIDE_PAGE = Path(__file__).resolve().parents[2] / "resources" / "guide" / "lying-data.md"
QUICK = (
    "nothing wrong",
    "frames out of order",
    "a frozen camera: the same pixels with a new time",
    "one of two frames from the night before",
    "mirrored from the second frame on",
    "all times 1 h ahead (daylight saving)",
    "all times 12 h ahead (morning for evening), and the files copied",
    "longitude: 3 degrees east as west, header right",
    "latitude: wrong hemisphere",
    "all black",
    "all white",
    "lens cap on",
    "street lamp in the corner",
)


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Capture:
    """One honest capture for all."""
    return honest(tmp_path_factory.mktemp("honest"), CALM)


@pytest.mark.parametrize("case", [case for case in CASES if case.name in QUICK], ids=lambda case: case.name)
def test_a_lie_is_seen_refused_or_covered(case: Case, base: Capture, tmp_path: Path) -> None:
    answer = ask(*case.make(tmp_path, base))
    assert answer.effect == case.effect, answer
    assert case.told in " ".join(answer.words)


def test_every_quick_case_exists() -> None:
    assert set(QUICK) <= {case.name for case in CASES}


@pytest.mark.parametrize(
    ("name", "degrees"),
    [
        ("all times 1 h ahead, and the files copied", 15.041),
        ("longitude: 3 degrees east as west, header too", 2.0 * CALM.site.lon_deg),
    ],
)
def test_what_cannot_be_seen_turns_the_axis_about_the_pole_and_nothing_else(
    name: str, degrees: float, base: Capture, tmp_path: Path
) -> None:
    """The error is 2 E sin(turn / 2), the distance from the pole stays: plane geometry, and refraction's 0.1'."""
    case = next(case for case in CASES if case.name == name)
    answer = ask(*case.make(tmp_path, base))
    size = float(np.hypot(*base.truth_arcmin))
    assert answer.claimed_arcmin is not None
    assert np.hypot(*answer.claimed_arcmin) == pytest.approx(size, abs=0.15)
    assert answer.error_arcmin == pytest.approx(2.0 * size * np.sin(np.radians(degrees) / 2.0), abs=0.15)


def test_of_these_only_turns_of_the_whole_sky_pass_unseen() -> None:
    silent = [case.name for case in CASES if case.effect == "silent"]
    assert len(silent) == 2 and all("h ahead" in name or "longitude" in name for name in silent)


def test_the_guide_shows_every_case_with_its_effect() -> None:
    rows = [line for line in GUIDE_PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")][1:]
    shown = {row.split(" | ")[0].removeprefix("| "): row.split(" | ")[-1] for row in rows}
    assert list(shown) == [case.name for case in CASES], "run tests/bench/lying_data.py --page"
    for case in CASES:
        assert shown[case.name].startswith("**cannot be seen**" if case.effect == "silent" else case.effect)
