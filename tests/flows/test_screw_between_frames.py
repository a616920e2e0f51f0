"""`measure` over frames between which somebody turned a screw: what shows it, and what is said where nothing can."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lying import Answer, Capture, ask
from polewright.__main__ import main
from polewright.core.model import Utc
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.simulate.sequence import date_file
from sky_solver import shared_catalogue

SPAN_DEG, TURNS = 80.0, 0.15  # of the RA axis in all; of the screw: moves the axis by 2.8\u2032 and 4.9\u2032
SCREWS = pytest.mark.parametrize("screw", ["azimuth", "altitude"])


def capture(folder: Path, frames: int, after: int, screw: str) -> list[tuple[float, float]]:
    """Writes the frames, the screw turned after the one numbered `after`; the axis (east, up) before and after."""
    rig = SimulatedRig(SCENARIOS["calm"], 3, shared_catalogue())
    now = rig.point(-SPAN_DEG / 30.0, SCENARIOS["calm"].declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(True, now)
    for number in range(frames):
        now = _frame(rig, folder, now.plus_seconds(6.0))
        if number == after:
            before = rig.axis(now)
            now = rig.turn(screw, TURNS, now)
        now = rig.rotate_ra(SPAN_DEG / (frames - 1), now) if number < frames - 1 else now
    return [before.from_refracted_pole_arcmin, rig.axis(now).from_refracted_pole_arcmin]


def _frame(rig: SimulatedRig, folder: Path, now: Utc) -> Utc:
    path, _ = rig.write_frame(folder, now, 2.0)
    date_file(path, now.plus_seconds(3.0))
    return now.plus_seconds(3.0)


def missed_sigmas(answer: Answer, truths: list[tuple[float, float]]) -> float:
    """By how many of its sigmas the axis misses the nearest of those that there were."""
    assert answer.claimed_arcmin is not None
    east, up = answer.claimed_arcmin
    return min(np.hypot(east - e, up - u) for e, u in truths) / answer.sigma_arcmin


@SCREWS
def test_two_frames_cannot_show_it_and_say_so(tmp_path: Path, screw: str, capsys: pytest.CaptureFixture[str]) -> None:
    capture(tmp_path, 2, 0, screw)
    assert main(["measure", *map(str, sorted(tmp_path.glob("*.fits")))]) == 0
    said = capsys.readouterr().out
    assert "consistency  not checked: two frames" in said
    assert "Two frames cannot check each other: a slipped declination, a turned screw" in said


@SCREWS
@pytest.mark.parametrize("after", [0, 1])
def test_three_frames_show_it_and_widen_to_cover_it(tmp_path: Path, screw: str, after: int) -> None:
    """Two of the six numbers are left over to judge by: enough to see it, not to say which frame is wrong."""
    truths = capture(tmp_path, 3, after, screw)
    answer = ask(Capture(tmp_path, truths[1]))
    assert answer.code == 0 and missed_sigmas(answer, truths) < 2.0
    assert "a screw was turned" in " ".join(answer.words) and "would show which" in " ".join(answer.words)


@SCREWS
@pytest.mark.parametrize("after", [0, 1, 2])
def test_four_frames_tell_where_and_give_the_axis_all_the_same(tmp_path: Path, screw: str, after: int) -> None:
    truths = capture(tmp_path, 4, after, screw)
    answer = ask(Capture(tmp_path, truths[1]))
    assert answer.code == 0 and missed_sigmas(answer, truths) < 2.0 and answer.sigma_arcmin < 0.5
    assert "screw" in " ".join(answer.words)
