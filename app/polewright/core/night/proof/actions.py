"""The proof is given, or the person has had enough; and what it is still worth afterwards.

A proof that was given is judged by a new tolerance or pole from the same evidence. Where that no longer does, a new
one begins; without what was seen before if the imaging run has begun: its frames are guided, dithered and slewed, and
would count as frames of a drift or of a turn.

Decided 2026-11-25. A proof is judged anew, never added to. After the proof the frames are those of the imaging run:
guided, dithered, slewed. Another tolerance or pole judges the evidence there is (core/night/proof/actions.py);
where it no longer does, and after an undo, the proof begins without it. A drift alone never overrules what puts the
axis outside. Going on with the old frames was rejected: a guided mount looks aligned.
"""

from __future__ import annotations

from dataclasses import replace

from polewright.core.night.actions import (
    Outcome,
    begin_following,
    change_target,
    change_tolerance,
)
from polewright.core.night.drift_watch import anew
from polewright.core.night.drifting.actions import drift_confirms
from polewright.core.night.effects import KeepNight
from polewright.core.night.events import TargetChanged, ToleranceChanged
from polewright.core.night.states import Capture, Running, Stage
from polewright.core.night.witness import proof_confirms


def prove(state: Running, event: object) -> Outcome:
    """The second turn confirms the first: the night's alignment is proved."""
    return replace(state, proved=True), (() if state.proved else (KeepNight(),))


def believe_proof(state: Running, event: object) -> Outcome:
    """The second turn contradicts: go on from it, it is the newer one."""
    return begin_following(replace(state, capture=state.proof, proof=Capture(), drift=None, refuted=True), event)


def accept_unproved(state: Running, event: object) -> Outcome:
    """The person ends the night here."""
    return replace(state, accepted=True), (() if state.accepted else (KeepNight(),))


def judge_anew(state: Running, event: ToleranceChanged) -> Outcome:
    """Another tolerance in the proof stage."""
    after, effects = change_tolerance(state, event)
    if state.proved:
        confirmed = proof_confirms(after) if after.drift is None else drift_confirms(after)
        after = replace(after, proved=confirmed)
    return without_the_run(state, after), effects


def judge_by_other_pole(state: Running, event: TargetChanged) -> Outcome:
    """Another target pole in the proof stage; the second turn is estimated anew and judged by that."""
    after, effects = change_target(state, event)
    if after.drift is None:
        return after, effects
    after = replace(after, proved=state.proved and drift_confirms(after))
    return without_the_run(state, after), effects


def without_the_run(before: Running, after: Running) -> Running:
    """Where the imaging run had begun and nothing is proved any more, the proof begins with new frames."""
    if before.watching is None or after.aligned or after.stage is not Stage.PROOF:
        return after
    drift = None if after.drift is None else anew(after.drift)
    return replace(after, proof=Capture(), drift=drift, watching=None)
