"""The sound guide: direction and distance can be told apart, and nothing clicks or overloads."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from polewright.core.screws.angles import Screw
from polewright.ui.listening import phrase_for, sentence_for
from polewright.ui.sound_plan import (
    CLOSE_TURNS,
    DONE,
    FASTEST_S,
    LOST,
    MOVED,
    RATE_HZ,
    SLOWEST_S,
    STOP,
    guide_phrase,
    interval_s,
    render,
)
from polewright.ui.view_model import Sense
from polewright.words.numbers import turns_text
from polewright.words.spoken import spoken
from screens.demo_views import PAGES

TURNS = st.floats(0.0, 20.0)


@given(st.floats(CLOSE_TURNS * 1.01, 20.0), st.sampled_from(Screw))
def test_clockwise_rises_and_anticlockwise_falls(turns: float, screw: Screw) -> None:
    up = guide_phrase(screw, turns, Sense.CLOCKWISE).notes
    down = guide_phrase(screw, turns, Sense.ANTICLOCKWISE).notes
    assert up[0].pitch_hz < up[1].pitch_hz
    assert down[0].pitch_hz > down[1].pitch_hz


@given(TURNS, TURNS)
def test_nearer_is_never_slower(a: float, b: float) -> None:
    near, far = sorted((a, b))
    assert FASTEST_S <= interval_s(near) <= interval_s(far) <= SLOWEST_S


@given(TURNS, st.sampled_from(Sense))
def test_the_screws_sound_different(turns: float, sense: Sense) -> None:
    a, b = guide_phrase(Screw.AZIMUTH, turns, sense), guide_phrase(Screw.ALTITUDE, turns, sense)
    assert a.notes[0].overtones != b.notes[0].overtones
    assert {n.pitch_hz for n in a.notes} != {n.pitch_hz for n in b.notes}


@pytest.mark.parametrize("phrase", [DONE, STOP, LOST, guide_phrase(Screw.ALTITUDE, 1.0, Sense.CLOCKWISE)])
def test_rendering_neither_clicks_nor_overloads(phrase: object) -> None:
    samples = render(phrase).astype(float) / 32767.0  # type: ignore[arg-type]
    assert 0.05 < np.abs(samples).max() < 0.9
    assert abs(samples[0]) < 1e-3 and abs(samples[-1]) < 1e-3
    assert np.abs(np.diff(samples)).max() < 0.25


def test_pitch_on_the_wire_is_the_planned_pitch() -> None:
    """The azimuth tone is 440 Hz, concert pitch A4 (ISO 16): measured in the rendered samples."""
    note = guide_phrase(Screw.AZIMUTH, 2.0, Sense.CLOCKWISE).notes[0]
    samples = render(guide_phrase(Screw.AZIMUTH, 2.0, Sense.CLOCKWISE))[: round(note.length_s * RATE_HZ)]
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 16))
    assert np.argmax(spectrum) * RATE_HZ / (1 << 16) == pytest.approx(440.0, abs=2.0)


def test_views_become_phrases() -> None:
    fine, close, stale, proof = (PAGES[p]() for p in ("fine", "fine-close", "fine-stale", "proof"))
    assert phrase_for(None, fine) == guide_phrase(Screw.ALTITUDE, 0.125, Sense.ANTICLOCKWISE)
    assert phrase_for(fine, close) == STOP
    assert phrase_for(close, close) is None
    assert phrase_for(fine, stale) == LOST
    assert phrase_for(close, proof) == DONE
    assert phrase_for(proof, PAGES["watching"]()) is None, "a quiet watch is silent"
    assert phrase_for(proof, PAGES["moved"]()) == MOVED
    assert phrase_for(proof, proof) is None


def test_sentences_are_spoken_in_words() -> None:
    fine = PAGES["fine"]()
    assert sentence_for(fine, fine) == ""
    assert spoken("Turn altitude 1/8 turn anticlockwise.") == "Turn altitude one eighth of a turn anticlockwise."
    assert spoken("Turn azimuth 1 5/8 turns clockwise.") == "Turn azimuth 1 and five eighths turns clockwise."
    assert spoken("Turn azimuth 3 turns clockwise.") == "Turn azimuth 3 turns clockwise."
    assert spoken("0.7′, 14″, 8 s, 2 min") == "0.7 arc minutes, 14 arc seconds, 8 seconds, 2 minutes"


@pytest.mark.parametrize("turns", np.geomspace(1 / 120, 12.0, 400))
def test_every_turn_that_is_told_has_words(turns: float) -> None:
    """Half a turn is not in a twenty-fourth, whatever the digits look like."""
    said = spoken(f"Turn altitude {turns_text(turns)} clockwise.")
    assert "/" not in said and "divided" not in said, said
