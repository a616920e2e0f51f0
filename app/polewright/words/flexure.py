"""How a rig bends, in words: for the report and the person who wants to know what the nights have taught."""

from __future__ import annotations

import math

from polewright.core.flexure import Flexure
from polewright.core.flexure_memory import LEAST_NIGHTS, NightBend
from polewright.words.numbers import angle_text, counted, sigma_text

IF_USUAL = "if the tube bends as usual"  # what every ± supposes before a second sky or three nights have shown it


def flexure_words(flexure: Flexure) -> str:
    """What was expected of the rig: learned, or as rigs usually are."""
    expected = _both(flexure.sag_rad, flexure.sag_sigma_rad, flexure.pull, flexure.pull_sigma)
    if flexure.nights < LEAST_NIGHTS:
        known = "not learned yet" if not flexure.nights else f"{counted(flexure.nights, 'night')} so far"
        return f"{expected}, as usual ({known}; {LEAST_NIGHTS} teach it)"
    return f"{expected}, from {counted(flexure.nights, 'night')}"


def bend_words(bend: NightBend) -> str:
    """What the two turns of one night told by themselves."""
    (sag, _), (_, pull) = bend.covariance
    return _both(bend.sag_rad, math.sqrt(sag), bend.pull, math.sqrt(pull))


def _both(sag_rad: float, sag_sigma_rad: float, pull: float, pull_sigma: float) -> str:
    sag = f"sag {_signed(sag_rad)} {sigma_text(sag_sigma_rad)}"
    return f"{sag}, pull {_signed(pull)} {sigma_text(pull_sigma)} in 57° of turn"


def _signed(angle_rad: float) -> str:
    return f"{'−' if angle_rad < 0.0 else ''}{angle_text(abs(angle_rad))}"
