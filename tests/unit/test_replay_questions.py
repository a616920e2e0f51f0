"""The take-over asks at the time of each move, on nights with told turns and on nights that were walked by eye."""

from __future__ import annotations

import lzma
from pathlib import Path

import pytest

from polewright.core.night.advice import Mood
from polewright.core.night.states import Stage
from polewright.core.night.trainee import Answer, judge
from polewright.core.screws.angles import Screw
from polewright.practice.walking_hand import WalkingHand
from polewright.ui.driving.replay_track import ReplayTrack, load_track
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.replay import Lesson, replay_view
from polewright.words.trainee import that_night, unmeasured_words
from recorded_nights import FOLDER
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists

TOLD = ("calm", "bumped", "southern-sky", "proof-by-drift", "interrupted")


def recorded(name: str, folder: Path) -> ReplayTrack:
    (folder / "night.jsonl").write_bytes(lzma.decompress((FOLDER / f"{name}.jsonl.xz").read_bytes()))
    return load_track(folder)


@pytest.fixture(scope="module")
def walked(tmp_path_factory: pytest.TempPathFactory) -> ReplayTrack:
    """As the window records it: the eye leads the hand, and nobody tells a turn."""
    folder = tmp_path_factory.mktemp("walked") / "night"
    rehearse_with_star_lists("calm", 5, folder, shared_solver(), make_hand=WalkingHand)
    return load_track(folder)


def assert_asked_while_the_well_is_shown(track: ReplayTrack, least: int = 4) -> None:
    times = [question.t_s for question in track.questions]
    assert len(times) >= least and times == sorted(times) and times[0] > 60.0
    for question in track.questions:
        moment = track.moments[track.index_at(question.t_s)]
        assert moment.state.stage in (Stage.ROUGH, Stage.FINE), "the well is on the screen"
        assert moment.state.offset is not None and question.decision.state.offset is not None
        closed_s = question.decision.state.handling.closed_s
        assert moment.state.now_s >= closed_s, "the move before is over"


@pytest.mark.parametrize("name", TOLD)
def test_recorded_nights_are_asked_about_when_each_move_begins(name: str, tmp_path: Path) -> None:
    track = recorded(name, tmp_path)
    assert_asked_while_the_well_is_shown(track)
    assert len({q.t_s for q in track.questions}) == len(track.questions)


def test_a_night_walked_by_eye_is_asked_about_too(walked: ReplayTrack) -> None:
    assert_asked_while_the_well_is_shown(walked, 2)  # one walk a screw may do
    by_eye = [q.decision for q in walked.questions if q.decision.by_eye]
    assert by_eye, "nobody told these turns"
    for decision in by_eye:
        rates = dict.fromkeys(Screw)
        assert judge(decision, decision.made, rates) is None
        same = unmeasured_words(decision.made, decision.made)
        other = unmeasured_words(Answer(decision.made.screw, -decision.made.turns), decision.made)
        assert same.startswith("The same way") and other.startswith("The opposite way")
        assert "led by the eye" in that_night(decision.made.screw, decision.made.turns, decision.by_eye)


def test_an_answer_about_a_turn_led_by_the_eye_asks_to_go_on(walked: ReplayTrack) -> None:
    question = next(q for q in walked.questions if q.decision.by_eye)
    moment = walked.moments[walked.index_at(question.t_s)]
    told = Lesson(question.decision, question.decision.made, None, True)
    extras = Extras(now_s=moment.state.now_s, title="", news=None, history=walked.history)
    view = replay_view(moment.state, moment.advice, extras, (question.t_s, walked.length_s, 1.0, False, True), told)
    assert view.instruction.sentence.startswith("The same way") and view.actions[0].label == "Go on"
    assert view.instruction.tone is not Mood.WAIT, "two orders at once: to wait, and to go on"
