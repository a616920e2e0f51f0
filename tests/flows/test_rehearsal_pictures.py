"""The pictures of a rehearsal: every page that a night shows has one, the watch among them."""

from __future__ import annotations

from pathlib import Path

from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal
from polewright.practice.walking_hand import WalkingHand
from polewright.ui.driving.night_shots import NightShots
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists


def test_a_night_has_every_page(tmp_path: Path) -> None:
    shots = NightShots()

    def watch(night: Rehearsal, seat: Seat) -> None:
        shots.watch(night)

    score = rehearse_with_star_lists("calm", 3, tmp_path / "night", shared_solver(), watch=watch, image_s=60.0)
    assert score.proved
    assert {"1-stand", "2-measure", "3-rough", "4-fine", "5-proof-turn", "6-proof", "6-watch"} <= set(shots.views)
    looks = {fact.label: fact.words for fact in shots.views["6-watch"].proof.facts}
    assert "looks so far" in looks["last look"] and int(looks["last look"].split()[0]) >= 3
    alone = {fact.label for fact in shots.views["6-proof"].proof.facts}
    assert "last look" not in alone


def test_a_night_that_is_walked_has_one_whole_turn(tmp_path: Path) -> None:
    shots = NightShots()

    def watch(night: Rehearsal, seat: Seat) -> None:
        shots.watch(night)

    rehearse_with_star_lists("first-night", 1, tmp_path / "night", shared_solver(), WalkingHand, watch)
    turn = [shots.turn.views[name] for name in ("3-turn-on", "3-turn-slower", "3-turn-stop")]
    on, slower, stop = (view.instruction.sentence for view in turn)
    assert on.startswith("Keep turning") and slower == "Slower." and stop == "Stop."
    left = [view.total.value for view in turn if view.total is not None]
    assert len(set(left)) == 3, "the marker moved on from picture to picture"
