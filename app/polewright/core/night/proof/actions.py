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

import math
from dataclasses import replace

import numpy as np

from polewright.core.bending import learned, per_unit_of, with_bending
from polewright.core.flexure import Flexure
from polewright.core.joint import BENDS, Joint
from polewright.core.model import FloatArray
from polewright.core.night.actions import (
    Outcome,
    begin_following,
    change_target,
    change_tolerance,
    drop_proof,
    keep_turn_frame,
    see_frame,
    with_shaking,
)
from polewright.core.night.advice import DoesNotFit
from polewright.core.night.drift_watch import anew
from polewright.core.night.drifting.actions import drift_confirms
from polewright.core.night.effects import KeepNight, Objection, Refused, SaveFlexure
from polewright.core.night.elsewhere import arrived, declination_moved_rad, second_sky
from polewright.core.night.events import FrameSolved, NextAsked, TargetChanged, ToleranceChanged
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.states import Capture, Running, Stage
from polewright.core.night.turning.blocked import struck
from polewright.core.night.turning.coach import advise_turn
from polewright.core.night.turning.places import PLACES_WANTED, places
from polewright.core.night.turning.room import SMALLEST_STEP_RAD, next_rotation_rad
from polewright.core.night.witness import (
    CONTRADICTS_CHI2,
    apart_rad2,
    contradicted,
    proof_confirms,
    together,
    tonights_bend,
    turned_over,
)
from polewright.core.unsolved import FrameTrouble

OTHER_DECLINATION_RAD = math.radians(1.0)  # turning the RA axis keeps it far better, with the axis near the pole


def begin_proof(state: Running, event: object) -> Outcome:
    """The proof begins (anew): by drift where the axis came from one, else where the sky tells most.

    A turn that contradicted and was begun anew counts as a return: a clutch is blamed and tightened once or twice,
    not all night, where it is the bearing that wobbles. Places that do not agree are doubted once: the clutch is
    tight then, and what scatters after that is the mount.
    """
    if contradicted(state):
        shaken = with_shaking(state, state.proof, (apart_rad2(state),))
        state = replace(shaken, returns=state.returns + 1)
    elif isinstance(advise_turn(state, state.proof), DoesNotFit):
        state = replace(with_shaking(state, state.proof), doubted=True)
    state, effects = drop_proof(state, event)
    if state.trouble is not None and state.trouble.cause is FrameTrouble.NOT_FOLLOWED:
        state = replace(state, trouble=None)  # pointed for the proof before its key: nothing is followed any more
    axis = state.capture.axis
    wanted = axis is not None and axis.budget is not None and not state.capture.by_drift
    return replace(state, second_sky=second_sky(state) if wanted else None), effects


def stay_in_this_sky(state: Running, event: NextAsked) -> Outcome:
    """The person proves it where the camera looks: no other sky is free, or declination is not to be moved."""
    if state.second_sky is None:
        return state, (Refused(Objection.NOT_PROVED),)
    return replace(state, second_sky=None), ()


def keep_proof_frame(state: Running, event: FrameSolved) -> Outcome:
    """Keeps a frame of the second turn, once the camera has arrived; with another declination it begins anew."""
    after = struck(state, event.frame)
    if after is not state and (state.second_sky is not None or _no_room(after)):
        return _elsewhere_from(after, event)
    if not arrived(state, event.frame):
        return see_frame(state, event)
    kept = state.proof.frames
    if kept and state.plan.flexure is not None:
        moved = declination_moved_rad(state, kept[0], event.frame) > OTHER_DECLINATION_RAD
        state = replace(state, proof=Capture()) if moved else state
    return keep_turn_frame(replace(state, second_sky=None), event)


def _no_room(state: Running) -> bool:
    done = len(places(state.proof))
    return 0 < done < PLACES_WANTED and abs(next_rotation_rad(state, state.proof)) < SMALLEST_STEP_RAD


def _elsewhere_from(state: Running, event: FrameSolved) -> Outcome:
    """The proof begins anew, round what stands in the way; where the camera looks if no better sky is left."""
    seen, effects = see_frame(state, event)
    return replace(seen, proof=Capture(), second_sky=second_sky(seen)), effects


def prove(state: Running, event: object) -> Outcome:
    """The second turn confirms the first: the night's alignment is proved."""
    return replace(state, proved=True), (() if state.proved else (KeepNight(), *_bend_told(state)))


def believe_proof(state: Running, event: object) -> Outcome:
    """The second turn puts the axis outside: go on from both together, or from the newer one where they cannot be."""
    both = together(state)
    told = _bend_told(state)
    state = replace(state, second_sky=None) if both is None else _with_joint(state, both)
    after, effects = begin_following(
        replace(state, capture=state.proof, proof=Capture(), drift=None, refuted=True, returns=state.returns + 1),
        event,
    )
    return after, (*effects, *told)


def prove_on(state: Running, event: object) -> Outcome:
    """The two turns agree and leave it open how the tube bends: both together are the first word, a third sky has the
    last. Where no other sky is free it stays as it is."""
    both = together(state)
    if both is None or both.least_chi2 > CONTRADICTS_CHI2:
        return state, ()
    known = _with_joint(state, both)
    turned = replace(known, capture=known.proof, proof=Capture())
    sky = second_sky(turned)
    if sky is None:
        return state, ()
    after, effects = begin_following(replace(turned, second_sky=sky), event)
    return after, (*effects, *_bend_told(state))


def _bend_told(state: Running) -> tuple[SaveFlexure, ...]:
    bend = tonights_bend(state)
    return () if bend is None else (SaveFlexure(bend),)


def _with_joint(state: Running, both: Joint) -> Running:
    """What both have shown of the bending is taken off the second, unless bending cannot explain them."""
    axis = state.proof.axis
    assert axis is not None
    if both.least_chi2 > CONTRADICTS_CHI2:
        return with_shaking(state, state.proof, (apart_rad2(state),))
    state = with_shaking(state, state.proof)
    before = state.plan.flexure
    if before is None:
        return replace(state, proof=replace(state.proof, combined=True))
    after, moved = bend_learned(before, both, turned_over(state))
    return replace(
        state,
        plan=replace(state.plan, flexure=after),
        proof=replace(state.proof, axis=_allowed_for(axis, before, after, moved), combined=True),
    )


def bend_learned(before: Flexure, both: Joint, turned: bool) -> tuple[Flexure, FloatArray]:
    """What is known of sag and pull after both turns, and by how much that differs, in units of the columns that
    were measured with what was known before. A tube turned over to the other side is pulled another way: its pull is
    as little known as before."""
    mean, covariance = both.bending()
    if turned:
        keep = np.array([1.0, 0.0])
        mean, covariance = mean * keep, covariance * np.outer(keep, keep) + np.diag([0.0, before.own_pull_sigma**2])
    return learned(before, mean, covariance, before.surprise if turned else both.surprise), mean


def _allowed_for(axis: MeasuredAxis, before: Flexure, after: Flexure, moved: FloatArray) -> MeasuredAxis:
    """The second turn's own axis with the bending taken off that both have shown. The frames tell the same when they
    are followed, because the plan's flexure is what both have shown from now on."""
    budget = axis.budget
    assert budget is not None
    shift = sum((c.per_unit * size for n, size in zip(BENDS, moved) if (c := budget.column(n))), np.zeros(2))
    known = with_bending(budget, per_unit_of(budget, before), after)
    east_rad, up_rad = axis.east_rad - float(shift[0]), axis.up_rad - float(shift[1])
    return replace(axis, east_rad=east_rad, up_rad=up_rad, covariance_rad2=known.whole, budget=known)


def accept_unproved(state: Running, event: object) -> Outcome:
    """The person ends the night here."""
    return replace(state, accepted=True), (() if state.accepted else (KeepNight(), *_bend_told(state)))


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
