"""The pictures of a rehearsal: every page that a night shows has one, the watch among them."""

from __future__ import annotations

from pathlib import Path

from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal
from polewright.practice.walking_hand import WalkingHand
from polewright.ui.driving.afterwards_shots import afterwards
from polewright.ui.driving.night_shots import NightShots
from polewright.ui.glance import glance
from polewright.words.window import QUESTION
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


def test_what_a_night_is_good_for_is_pictured_too(tmp_path: Path) -> None:
    rehearse_with_star_lists("calm", 3, tmp_path / "night", shared_solver())
    views = afterwards(tmp_path / "night")
    nights, report, question = (views[name] for name in ("9-nights", "9-report", "9-take-over"))
    assert nights.nights is not None and "proved" in nights.nights.rows[0].title
    assert report.nights is not None and report.nights.report is not None and "Aligned" in report.nights.report.html
    assert question.instruction.sentence == QUESTION and question.replay is not None and question.replay.trainee
    assert glance(question).key == "", "nor does the reading mode advise an answer"
    assert all(fact.value for fact in nights.nights.rows[0].facts), "a rehearsal has no rig, and no empty line for it"
