"""What the sound guide plays, as plain numbers: which tones, how high, how long, how often. Pure, no Qt.

One screw speaks at a time. The azimuth screw has a rounded tone, the altitude screw a reedy one (with overtones).
Direction: a pair of notes that rises for clockwise and falls for anticlockwise, as seen by the hand on the screw.
Distance: the pairs come faster the nearer the gate is, as a bicycle's clicking slows when it comes to rest, turned
around; within the last sixteenth of a turn a steady soft tone says "now". Stop: one low double knock. Done: three
notes up, once. Moved during the imaging run: three reedy notes down, every 20 s until it is put away. Everything is
audible on a laptop's speaker and harmless without one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log2

import numpy as np
from numpy.typing import NDArray

from polewright.core.screws.angles import Screw
from polewright.ui.view_model import Sense

RATE_HZ = 44_100
CLOSE_TURNS = 1.0 / 16.0
FAR_TURNS = 4.0
SLOWEST_S, FASTEST_S = 1.6, 0.35
BASE_HZ = {Screw.AZIMUTH: 440.0, Screw.ALTITUDE: 587.33}
STEP = 2.0 ** (5.0 / 12.0)  # a fourth: heard as up or down even by those who do not sing


@dataclass(frozen=True)
class Note:
    """One tone. `overtones` 0 is a pure sine, 1 reedy; `gain` 0..1."""

    start_s: float
    length_s: float
    pitch_hz: float
    overtones: float = 0.0
    gain: float = 0.6


@dataclass(frozen=True)
class Phrase:
    """Notes, and when the same phrase is due again; None: once only."""

    notes: tuple[Note, ...]
    every_s: float | None


DONE = Phrase((Note(0.0, 0.16, 523.25), Note(0.18, 0.16, 659.25), Note(0.36, 0.34, 783.99)), None)
STOP = Phrase((Note(0.0, 0.09, 164.8, 0.6, 0.8), Note(0.14, 0.09, 164.8, 0.6, 0.8)), None)
MOVED = Phrase((Note(0.0, 0.22, 392.0, 0.6), Note(0.26, 0.22, 329.63, 0.6), Note(0.52, 0.5, 261.63, 0.6)), 20.0)
LOST = Phrase((Note(0.0, 0.5, 220.0, 0.2, 0.35),), 8.0)


def guide_phrase(screw: Screw, turns: float, sense: Sense) -> Phrase:
    """The phrase for so much left to turn."""
    low = BASE_HZ[screw]
    reed = 0.0 if screw is Screw.AZIMUTH else 0.8
    if turns <= CLOSE_TURNS:
        return Phrase((Note(0.0, 0.30, low * STEP, reed, 0.4),), FASTEST_S)
    first, second = (low, low * STEP) if sense is Sense.CLOCKWISE else (low * STEP, low)
    return Phrase((Note(0.0, 0.09, first, reed), Note(0.11, 0.13, second, reed)), interval_s(turns))


def interval_s(turns: float) -> float:
    """Seconds between phrases: from 1.6 s at four turns down to 0.35 s at a sixteenth, even steps per halving."""
    share = log2(max(turns, CLOSE_TURNS) / CLOSE_TURNS) / log2(FAR_TURNS / CLOSE_TURNS)
    return FASTEST_S + (SLOWEST_S - FASTEST_S) * min(1.0, max(0.0, share))


def render(phrase: Phrase, rate_hz: int = RATE_HZ, volume: float = 0.5) -> NDArray[np.int16]:
    """The phrase as 16-bit samples, one channel; every note swells and fades, so nothing clicks."""
    length = max(n.start_s + n.length_s for n in phrase.notes) + 0.02
    out = np.zeros(round(length * rate_hz))
    for note in phrase.notes:
        t = np.arange(round(note.length_s * rate_hz)) / rate_hz
        wave = np.sin(2 * np.pi * note.pitch_hz * t)
        for k in (2, 3, 4):
            wave += note.overtones / k * np.sin(2 * np.pi * k * note.pitch_hz * t)
        ramp = np.minimum(1.0, np.minimum(t, note.length_s - t) / 0.012)
        start = round(note.start_s * rate_hz)
        out[start : start + t.size] += note.gain * wave * np.clip(ramp, 0.0, 1.0) / (1.0 + note.overtones)
    return np.asarray(np.clip(out * volume, -1.0, 1.0) * 32767.0, dtype=np.int16)
