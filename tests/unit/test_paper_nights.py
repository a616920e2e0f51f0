"""Nights on paper: an obedient hand with 20 % turn error, now and then the wrong way, ends inside the tolerance.

Invented mounts. The full distribution is printed by tests/bench/paper_nights.py; this is a reduced run of it.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from paper_night import PaperNight, nights
from polewright.core.night.advise import advise
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.states import NightState, Running, Waiting
from polewright.core.night.table import step
from polewright.core.plain import from_plain, to_plain
from polewright.words.coach import say


def test_from_degrees_to_half_an_arcminute() -> None:
    played = list(nights(14))
    assert all(night.state.proved for night in played)
    assert not any(night.false_done for night in played)
    assert np.median([night.state.handling.goes for night in played]) <= 6


@pytest.mark.parametrize(
    "settings",
    [
        {"latitude_deg": -31.0},
        {"latitude_deg": 4.0},
        {"latitude_deg": 78.0},
        {"known": True},
        {"reports": 0.0},
        {"reports": 1.0},
        {"tolerance_arcsec": 120.0, "lock_shift_arcmin": 3.0},
        {"tolerance_arcsec": 12.0, "capture_sigma_arcsec": 2.0, "frame_sigma_arcsec": 2.0},
        {"hand_error": 0.35, "wrong_way": 0.15},
        {"lean_deg": 3.0},
    ],
    ids=str,
)
def test_other_nights(settings: dict[str, Any]) -> None:
    for night in nights(2, 100, **settings):
        assert night.state.proved, (night.seed, night.state.stage, say(advise(night.state)).instruction)
        assert not night.false_done


def test_replay_through_json_ends_in_the_same_state_bit_for_bit() -> None:
    night = PaperNight(11)
    night.run()
    lines = [json.dumps(to_plain(event)) for event in night.log]
    state: NightState = Waiting()
    for number, line in enumerate(lines):
        state, _ = step(state, event_from_plain(json.loads(line)))
        if number % 17 == 0:  # the power fails here, and the night goes on from what was written
            state = from_plain(Running, json.loads(json.dumps(to_plain(state))))
    assert state == night.state
    assert advise(state) == advise(night.state)


def test_known_screws_need_fewer_turns() -> None:
    fresh = [n.state.handling.turns_made for n in nights(15, 300)]
    known = [n.state.handling.turns_made for n in nights(15, 300, known=True)]
    assert np.mean(known) < np.mean(fresh)
