"""The end of a rehearsal: how long, how many moves, and the truth beside what was measured."""

from __future__ import annotations

from dataclasses import replace

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.night.advice import Mood
from polewright.core.night.states import NightState
from polewright.practice.world import TrueOffset
from polewright.ui import intents as want
from polewright.ui.presenting.well import shown_offset
from polewright.ui.view_model import Action, Fact, Instruction, Page, Proof, View, Weight
from polewright.words.numbers import angle_text, duration_text, offset_words, sigma_text


def score_page(view: View, state: NightState, truth: TrueOffset) -> View:
    """The finished night's view with the score in place of the proof."""
    plan, offset = state.plan, shown_offset(state)
    if plan is None or offset is None:
        return view
    handling = state.handling
    true_rad = truth.total_arcmin / ARCMIN_PER_RAD
    inside = true_rad <= plan.tolerance_rad
    east, up = truth.east_arcmin / ARCMIN_PER_RAD, truth.up_arcmin / ARCMIN_PER_RAD
    moves = f"{handling.turns_made} {'move' if handling.turns_made == 1 else 'moves'}"
    verdict = "inside" if inside else "outside"
    said = Instruction(
        f"Aligned in {duration_text(state.now_s)} with {moves}.",
        f"In truth the axis is {angle_text(true_rad)} off: {verdict} the {angle_text(plan.tolerance_rad)} needed.",
        "",
        f"{duration_text(state.now_s)}, {moves}, {angle_text(true_rad)}.",
        Mood.GOOD if inside else Mood.TROUBLE,
    )
    facts = (
        Fact("time", duration_text(state.now_s), f"{state.frames_used} frames used"),
        Fact("moves", str(handling.turns_made), f"in {handling.goes} goes"),
        Fact(
            "true error",
            angle_text(true_rad),
            f"{offset_words(east)}, {offset_words(up, None, 'up')}",
            Mood.GOOD if inside else Mood.TROUBLE,
        ),
        Fact("measured", angle_text(offset.total_rad, offset.sigma_rad), sigma_text(offset.sigma_rad)),
    )
    actions = (
        Action("Rehearse again", "Return", want.StartRehearsal(), Weight.PRIMARY),
        Action("To the first page", "Escape", want.LeaveNight(), Weight.PRIMARY),
    )
    return replace(
        view, page=Page.SCORE, instruction=said, proof=Proof(facts), actions=actions, rehearsal=None, trouble=None
    )
