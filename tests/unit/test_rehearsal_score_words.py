"""What the score says of a screw: learned, never turned, or turned by a hand that told nothing."""

from __future__ import annotations

from polewright.commands.rehearse import learned_words
from polewright.practice.rehearsal import ScrewScore


def test_a_walked_screw_is_not_called_unturned() -> None:
    said = learned_words(ScrewScore(None, 60.0, 0.1, (-30.0, 4.0)))
    assert said.startswith("turned, not reported: the frames showed 34′ of motion")
    assert "nobody said how far, so no rate was learned" in said
    assert learned_words(ScrewScore(None, 60.0, 0.1)) == "no turn reported or seen"
