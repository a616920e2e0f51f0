"""Places of the second turn that did not agree, the clutch tightened, and agree no better: what is said then.

Invented readings: after one such doubt nothing is asked once more, and turns that contradict are called no agreement.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from paper_night import PaperNight
from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.axis_reasons import FramesDisagree
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.model import Site, TargetPole
from polewright.core.night import advice as says
from polewright.core.night.advise import advise
from polewright.core.night.events import AnyEvent, AxisMeasured, FrameSolved, NextAsked, NightStarted, RestartAsked
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.proof.actions import begin_proof
from polewright.core.night.states import Running, Stage, Waiting, begun
from polewright.core.night.table import step
from polewright.words.coach import say

ARCSEC = 1.0 / ARCSEC_PER_RAD
BENDS = (Column(Nuisance.SAG, 0.5, 0.5, 10.0 * ARCSEC), Column(Nuisance.PULL, 0.5, -0.5, 10.0 * ARCSEC))


def known_to(arcsec: float) -> Budget:
    return Budget((Chance(Part.STARS, (((arcsec * ARCSEC) ** 2, 0.0), (0.0, (arcsec * ARCSEC) ** 2))),), BENDS)


STARTED = NightStarted(0.0, Site(52.0, 10.0), TargetPole.TRUE, math.radians(52.0), 30.0 * ARCSEC)


def turn(state: Running, night: PaperNight, begun_s: float, *angles_deg: float) -> Running:
    for index, angle_deg in enumerate(angles_deg):
        night.theta = math.radians(angle_deg)
        at_s = begun_s + index
        state = after(state, FrameSolved(at_s, night.placed(f"at {at_s:.0f}")))
    return state


def after(state: Running, event: AnyEvent) -> Running:
    return begun(step(state, event)[0])


def turned_twice(apart_arcsec: float, doubted: bool) -> Running:
    """Four places of the second turn, the last of which does not fit; it puts the axis so far from the first."""
    night = PaperNight(3)
    state = turn(after(begun(step(Waiting(), STARTED)[0]), NextAsked(1.0)), night, 20.0, -30.0, -70.0, -110.0)
    names = tuple(frame.name for frame in state.capture.frames)
    axis = MeasuredAxis(0.0, 0.0, known_to(4.0).whole, frames=names, budget=known_to(4.0))
    state = replace(after(state, AxisMeasured(30.0, axis)), stage=Stage.PROOF, doubted=doubted)
    state = turn(state, night, 40.0, -110.0, -70.0, -30.0, 10.0)
    names = tuple(frame.name for frame in state.proof.frames)
    second = MeasuredAxis(
        apart_arcsec * ARCSEC,
        0.0,
        known_to(9.0).whole,
        frames=names,
        suspect=names[-1],
        warnings=(FramesDisagree(90.0, 3, 9.0 * ARCSEC, 4),),
        budget=known_to(9.0),
    )
    return begun(after(state, AxisMeasured(50.0, second)))


def test_it_is_asked_about_once() -> None:
    first = turned_twice(0.0, doubted=False)
    assert isinstance(advise(first).reason, says.DoesNotFit) and not first.doubted
    anew, _ = begin_proof(first, RestartAsked(60.0))
    assert anew.doubted


def test_the_second_time_it_is_taken_as_it_is_and_not_asked_again() -> None:
    advice = advise(turned_twice(0.0, doubted=True))
    assert isinstance(advice.reason, says.ProofLimited) and advice.action is says.Do.ACCEPT
    assert "Both turns agree" in say(advice).why


@pytest.mark.parametrize("apart_arcsec", [60.0, 300.0])
def test_turns_that_contradict_are_never_called_an_agreement(apart_arcsec: float) -> None:
    advice = advise(turned_twice(apart_arcsec, doubted=True))
    assert isinstance(advice.reason, says.ProofContradicts)
    told = say(advice)
    assert "agree" not in told.why.replace("disagree", "") and "differ by" in told.why
    assert advice.reason.offset.total_rad * ARCSEC_PER_RAD == pytest.approx(apart_arcsec, rel=0.1)
