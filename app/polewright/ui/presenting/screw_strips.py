"""The two screws: what is left to turn, which way as seen by the hand on it, what that does, and when to stop."""

from __future__ import annotations

import math

from polewright.core.night.advice import Advice, Turn
from polewright.core.night.correction.outlook import ScrewOutlook, outlooks
from polewright.core.night.states import NightState, Stage
from polewright.core.screws.angles import Screw
from polewright.core.screws.plan import TurnKind
from polewright.ui.view_model import ScrewStrip, Sense
from polewright.words.numbers import rate_text, sense_text, turns_text


def strips(state: NightState, advice: Advice) -> tuple[ScrewStrip, ...]:
    """Both strips while screws are turned, and both at rest once the alignment is done; else none."""
    if state.aligned:
        return tuple(ScrewStrip(screw, stop=True, note_text=_note(state, screw)) for screw in Screw)
    if state.stage not in (Stage.ROUGH, Stage.FINE):
        return ()
    both = outlooks(state)
    if both is None:
        return tuple(ScrewStrip(screw) for screw in Screw)
    return tuple(_strip(state, advice, outlook) for outlook in both)


def _strip(state: NightState, advice: Advice, outlook: ScrewOutlook) -> ScrewStrip:
    screw, note = outlook.screw, _note(state, outlook.screw)
    turn = advice.action if isinstance(advice.action, Turn) and advice.action.screw is outlook.screw else None
    turns = outlook.plan.turns if turn is None else turn.turns
    nothing_left = outlook.plan.kind is TurnKind.NONE or state.stop_here or state.locks.tight
    if turn is None and (nothing_left or not turns):
        return ScrewStrip(screw, turns=0.0, signed_turns=0.0, note_text=note, stop=True)
    if turn is None and outlook.plan.kind is TurnKind.TRIAL:
        return ScrewStrip(screw, note_text=note)
    return ScrewStrip(
        screw,
        active=turn is not None,
        turns=abs(turns),
        signed_turns=math.copysign(abs(turns), outlook.left_rad),
        sense=Sense.CLOCKWISE if turns >= 0.0 else Sense.ANTICLOCKWISE,
        amount_text=turns_text(turns),
        sense_text=sense_text(turns),
        effect_text=_effect(state, outlook),
        note_text=note,
    )


def _effect(state: NightState, outlook: ScrewOutlook) -> str:
    """What the turn does to the axis, in words."""
    if outlook.plan.kind in (TurnKind.TRIAL, TurnKind.RECHECK):
        return "a trial: it shows what this screw does"
    grows = outlook.plan.expected_arcmin > outlook.coordinate_arcmin
    if outlook.screw is Screw.ALTITUDE:
        return "raises the axis" if grows else "lowers the axis"
    southern = state.plan is not None and state.plan.southern
    return f"moves the axis {'east' if grows != southern else 'west'}"


def _note(state: NightState, screw: Screw) -> str:
    rate = state.rate(screw)
    return "not learned yet" if rate is None else rate_text(rate.arcmin_per_turn, rate.sigma_arcmin)
