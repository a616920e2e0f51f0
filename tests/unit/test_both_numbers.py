"""How sure the axis is, told twice: by the stars alone and with mount and air; in window, report and command."""

from __future__ import annotations

import math
from dataclasses import replace

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.budget import Budget, Chance, Column, Nuisance, Part
from polewright.core.flexure import FLEXURE_PRIOR, Flexure
from polewright.core.flexure_memory import NightBend
from polewright.core.model import Site, TargetPole
from polewright.core.night.advice import Near
from polewright.core.night.advise import advise
from polewright.core.night.measured import MeasuredAxis
from polewright.core.night.rest import Reading, Rest
from polewright.core.night.states import Capture, Locks, NightPlan, Running, Stage
from polewright.core.sky.places import standard_atmosphere
from polewright.services.report.facts import NightFacts
from polewright.services.report.page import verdict
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.night import present
from polewright.words.axis import budget_words
from polewright.words.coach import say
from polewright.words.flexure import IF_USUAL
from watch_night import aligned_events, run_through

ARCSEC = 1.0 / ARCSEC_PER_RAD
ONE, TEN = ((2.0 * ARCSEC**2, 0.0), (0.0, 2.0 * ARCSEC**2)), 10.0 * ARCSEC
BUDGET = Budget((Chance(Part.STARS, ONE),), (Column(Nuisance.SAG, 0.6, 0.8, TEN),))
SITE = Site(52.0, 10.0)
PLAN = NightPlan(SITE, TargetPole.TRUE, math.radians(52.0), 60.0 * ARCSEC, air=standard_atmosphere(SITE))


def night(stage: Stage, budget: Budget | None) -> Running:
    frame = run_through(aligned_events())[0].last_frame
    assert frame is not None
    axis = MeasuredAxis(300.0 * ARCSEC, 0.0, BUDGET.whole, frames=(frame.name,), budget=budget)
    capture = Capture((frame, frame), (0.0, 1.0), axis)
    return Running(stage=stage, now_s=4000.0, plan=PLAN, capture=capture, last_frame=frame)


def numbers(state: Running) -> dict[str, tuple[str, str]]:
    view = present(state, advise(state), Extras(state.now_s))
    facts = view.numbers if view.proof is None else view.proof.facts
    return {fact.label: (fact.value, fact.words) for fact in facts}


def test_while_it_is_measured() -> None:
    value, words = numbers(night(Stage.CAPTURE, BUDGET))["accuracy"]
    assert value == "± 10″" and words.startswith("± 2″ by the stars")
    assert "stars" not in numbers(night(Stage.CAPTURE, None))["accuracy"][1]


def test_while_the_screws_are_turned() -> None:
    assert numbers(night(Stage.ROUGH, BUDGET))["by the stars"] == ("± 2″", "± 10″ with mount and air")
    assert "by the stars" not in numbers(night(Stage.ROUGH, None))


def test_when_it_is_done() -> None:
    done = replace(night(Stage.FINE, BUDGET), accepted=True)
    assert numbers(done)["by the stars"] == ("± 2″", "± 10″ with mount and air")


def test_in_the_report_and_on_the_command_line() -> None:
    state = night(Stage.FINE, BUDGET)
    facts = NightFacts(final=state.offset)
    assert "± 2″ by the stars, ± 10″ with mount and air." in verdict(facts)["more"]
    assert budget_words(BUDGET) == f"± 2″ by the stars, ± 10″ with mount and air, {IF_USUAL}"


def good_enough(flexure: Flexure | None) -> str:
    """What the coach says beside it, of a rig of which so much is known."""
    state = night(Stage.FINE, BUDGET)
    rest = Rest((Reading(3990.0, 3.0 * ARCSEC, 0.0, ONE),))
    told = advise(replace(state, plan=replace(PLAN, flexure=flexure), rest=rest, locks=Locks(tight=True)))
    assert isinstance(told.reason, Near)
    return say(told).why


def test_before_anything_has_shown_how_the_tube_bends_it_is_said_that_this_is_supposed() -> None:
    """tests/bench/budget_coverage.py --pull 60: only 39 of 101 such captures lie inside their 95 %."""
    night_seen = Flexure(pull=60.0 * ARCSEC, pull_sigma=5.0 * ARCSEC)
    assert IF_USUAL in good_enough(FLEXURE_PRIOR)
    assert IF_USUAL not in good_enough(night_seen) + good_enough(None)


def test_the_report_supposes_a_usual_tube_only_where_no_other_sky_has_told() -> None:
    facts = NightFacts(final=night(Stage.FINE, BUDGET).offset, flexure=FLEXURE_PRIOR, accepted=True)
    seen = NightBend(60.0 * ARCSEC, 0.0, ((1e-10, 0.0), (0.0, 1e-10)))
    learned = Flexure(pull_sigma=3.0 * ARCSEC, nights=4)
    assert IF_USUAL in str(verdict(facts)["more"])
    for known in (replace(facts, bend=seen), replace(facts, proved=True), replace(facts, flexure=learned)):
        assert IF_USUAL not in str(verdict(known)["more"])
