"""How the night ended, line by line."""

from __future__ import annotations

import math

from polewright.core.night.advice import Mood
from polewright.core.night.states import NightState
from polewright.core.night.witness import proof_offset
from polewright.core.offset import probability_inside
from polewright.ui.presenting.drift_page import drift_fact
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.watch_page import watch_begun, watch_page
from polewright.ui.presenting.well import shown_offset
from polewright.ui.view_model import Fact, Proof
from polewright.words.numbers import angle_text, duration_text, percent_text, sigma_text
from polewright.words.plan import exposure_words, pixels_text


def proof_page(state: NightState, extras: Extras) -> Proof | None:
    """The lines that prove it; None before the alignment is proved or accepted."""
    if not state.aligned:
        return None
    if state.watching is not None and watch_begun(state):
        return watch_page(state, extras)
    offset, plan = shown_offset(state), state.plan
    if offset is None or plan is None:
        return None
    handling, second = state.handling, proof_offset(state)
    chance = probability_inside(offset, plan.tolerance_rad)
    facts = []
    if extras.first_total_rad is not None:
        facts.append(Fact("before", angle_text(extras.first_total_rad), "off the pole when first measured"))
    facts.append(Fact("after", angle_text(offset.total_rad, offset.sigma_rad), sigma_text(offset.sigma_rad)))
    facts.append(Fact("screws", _count(handling.turns_made, "move"), f"in {_count(handling.goes, 'go', 'goes')}"))
    if second is not None:
        first = state.offset
        apart = 0.0 if first is None else math.hypot(second.east_rad - first.east_rad, second.up_rad - first.up_rad)
        facts.append(
            Fact("second turn", angle_text(second.total_rad, second.sigma_rad), f"{angle_text(apart)} apart")
        )
    drift = drift_fact(state)
    if drift is not None:
        facts.append(drift)
    verdict = Mood.GOOD if state.proved else None
    facts.append(Fact("certainty", percent_text(chance), f"to be within {angle_text(plan.tolerance_rad)}", verdict))
    if plan.imaging is not None:
        blur = plan.imaging.most_blur_px(plan.target, offset.total_rad)
        serves = blur <= plan.imaging.plan.allowed_blur_px
        words = f"of blur at most in {exposure_words(plan.imaging.plan)} exposures"
        facts.append(Fact("plan", pixels_text(blur), words, Mood.GOOD if serves else Mood.TROUBLE))
    facts.append(Fact("time", duration_text(state.now_s), f"{_count(state.frames_used, 'frame')} used"))
    return Proof(tuple(facts))


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
