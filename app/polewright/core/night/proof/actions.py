"""Frames of the second turn are kept until they confirm or contradict the first; or the person has had enough."""

from __future__ import annotations

from dataclasses import replace

from polewright.core.night.actions import Outcome, begin_following, estimate, see_frame
from polewright.core.night.effects import KeepNight, Objection, Refused
from polewright.core.night.events import AxisMeasured, AxisRefused, FrameSolved
from polewright.core.night.states import Capture, Running
from polewright.core.night.turning.places import answers, keep_frame


def keep_proof_frame(state: Running, event: FrameSolved) -> Outcome:
    """The same for the second turn, the proof."""
    state, _ = see_frame(state, event)
    kept = keep_frame(state.proof, event.frame)
    fresh = kept is not state.proof
    state = replace(state, proof=kept)
    return state, estimate(state, kept) if fresh else ()


def note_proof_refusal(state: Running, event: AxisRefused) -> Outcome:
    """The same for the proof."""
    return replace(state, proof=replace(state.proof, refusal=event.why)), ()


def take_proof_axis(state: Running, event: AxisMeasured) -> Outcome:
    """The axis of the second turn, as known so far."""
    if not answers(state.proof, event.axis):
        return state, (Refused(Objection.AXIS_SET_ASIDE),)
    return replace(state, proof=replace(state.proof, axis=event.axis, refusal=None)), ()


def prove(state: Running, event: object) -> Outcome:
    """The second turn confirms the first: the night's alignment is proved."""
    return replace(state, proved=True), (() if state.proved else (KeepNight(),))


def believe_proof(state: Running, event: object) -> Outcome:
    """The second turn contradicts: go on from it, it is the newer one."""
    return begin_following(replace(state, capture=state.proof, proof=Capture(), drift=None, refuted=True), event)


def accept_unproved(state: Running, event: object) -> Outcome:
    """The person ends the night here."""
    return replace(state, accepted=True), (() if state.accepted else (KeepNight(),))
