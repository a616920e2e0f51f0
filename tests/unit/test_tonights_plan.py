"""Tonight's plan as part of the night: what it needs becomes the tolerance, and a record tells the same again."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.errors import RecordingError, UsageError
from polewright.core.model import Site, TargetPole
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import NightStarted, TargetChanged, ToleranceChanged, UndoAsked
from polewright.core.night.states import NightState, Running, Waiting
from polewright.core.night.table import step
from polewright.core.offset import Offset
from polewright.core.plain import from_plain, to_plain
from polewright.core.plan.study import PlanStudy, study
from polewright.core.plan.tolerance import CAP_RAD, Tolerance, longest_exposure_s, needed_accuracy, worst_blur_px
from polewright.core.plan.tonight import (
    Planned,
    ToleranceOrigin,
    TonightsPlan,
    plan_from_dict,
    plan_to_dict,
    usual_plan,
)
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, RigProfile
from polewright.services.report.facts import NightFacts
from polewright.services.report.page import verdict
from polewright.words.plan import in_force_words

SITE = Site(52.3, 3.0, 60.0)
DEMANDING = TonightsPlan(69.1, focal_length_mm=900.0, sub_s=600.0, hours=3.0, target="M81", guided=False)
POLE_ALTITUDE = math.radians(52.31)


def planned(plan: TonightsPlan = DEMANDING, target: TargetPole = TargetPole.REFRACTED) -> Planned:
    needs = needed_accuracy(plan.at(SITE), target)
    assert isinstance(needs, Tolerance)
    return Planned(plan, needs)


def begun(imaging: Planned | None, tolerance_rad: float) -> NightState:
    started = NightStarted(0.0, SITE, TargetPole.REFRACTED, POLE_ALTITUDE, tolerance_rad, imaging=imaging)
    return step(Waiting(), started)[0]


def test_the_plan_of_the_night_makes_its_tolerance() -> None:
    plain = begun(None, 30.0 / ARCSEC_PER_RAD)
    assert plain.plan is not None and plain.plan.origin is ToleranceOrigin.USUAL and plain.plan.imaging is None
    found = planned()
    state, _ = step(plain, ToleranceChanged(5.0, found.needs.advised_rad, found))
    assert state.plan is not None
    assert state.plan.origin is ToleranceOrigin.PLAN and state.plan.imaging == found
    assert state.plan.tolerance_rad == found.needs.advised_rad != plain.plan.tolerance_rad
    by_hand, _ = step(state, ToleranceChanged(6.0, 2.0 / ARCMIN_PER_RAD))
    assert by_hand.plan is not None
    assert by_hand.plan.origin is ToleranceOrigin.HAND and by_hand.plan.imaging == found  # the plan stays known
    undone, _ = step(by_hand, UndoAsked(7.0))
    assert undone.plan == state.plan


@pytest.mark.parametrize("allowed_px", [1.0, 0.01])
def test_the_quick_trail_is_about_the_simulated_one(allowed_px: float) -> None:
    """Also for a plan that no axis serves (0.01 px): what an error adds is still counted in pixels."""
    plan = replace(DEMANDING, allowed_blur_px=allowed_px)
    found = planned(plan)
    for error_arcmin in (1.0, 5.0, 20.0):
        error = error_arcmin / ARCMIN_PER_RAD
        simulated = worst_blur_px(plan.at(SITE), TargetPole.REFRACTED, error)
        assert found.most_blur_px(TargetPole.REFRACTED, error) == pytest.approx(simulated, rel=0.5)


def test_another_pole_takes_the_tolerance_along() -> None:
    near_the_pole = TonightsPlan(86.0, focal_length_mm=1500.0, sub_s=900.0, hours=4.0)
    found = planned(near_the_pole)
    state = begun(found, found.needs.advised_rad)
    state, _ = step(state, TargetChanged(3.0, TargetPole.TRUE, math.radians(52.3)))
    assert state.plan is not None
    assert state.plan.tolerance_rad == planned(near_the_pole, TargetPole.TRUE).needs.advised_rad
    by_hand, _ = step(state, ToleranceChanged(6.0, 2.0 / ARCMIN_PER_RAD))
    by_hand, _ = step(by_hand, TargetChanged(7.0, TargetPole.BETWEEN, math.radians(52.3)))
    assert by_hand.plan is not None and by_hand.plan.tolerance_rad == 2.0 / ARCMIN_PER_RAD


def test_the_record_tells_the_same_and_an_older_one_is_read() -> None:
    found = planned()
    event = ToleranceChanged(5.0, found.needs.advised_rad, found)
    line = json.loads(json.dumps(to_plain(event), allow_nan=False))
    assert event_from_plain(line) == event
    state = begun(found, found.needs.advised_rad)
    assert from_plain(Running, json.loads(json.dumps(to_plain(state)))) == state
    del line["imaging"]
    assert event_from_plain(line) == replace(event, imaging=None)
    started = to_plain(NightStarted(0.0, SITE, TargetPole.TRUE, POLE_ALTITUDE, 1e-4))
    del started["imaging"]
    old = event_from_plain(started)
    assert isinstance(old, NightStarted) and old.imaging is None


def test_a_damaged_plan_is_refused_with_a_sentence() -> None:
    line = to_plain(ToleranceChanged(5.0, 1e-4, planned()))
    for member, value in (("poles", []), ("advised_rad", "nan"), ("floor_rad", -1.0)):
        damaged = json.loads(json.dumps(line))
        damaged["imaging"]["needs"][member] = value
        with pytest.raises(RecordingError):
            event_from_plain(damaged)
    damaged = json.loads(json.dumps(line))
    damaged["imaging"]["plan"]["focal_length_mm"] = -4.0
    with pytest.raises(RecordingError, match="focal length"):
        event_from_plain(damaged)


@pytest.mark.parametrize(
    ("change", "word"),
    [({"hours": 0.0}, "total time"), ({"binning": 0}, "binning"), ({"sub_s": -1.0}, "sub-exposure")],
)
def test_nonsense_in_a_plan_is_refused(change: dict[str, float], word: str) -> None:
    with pytest.raises(UsageError, match=word):
        replace(DEMANDING, **change)  # type: ignore[arg-type]


def test_the_page_says_whose_tolerance_holds() -> None:
    said = {this: in_force_words(ToleranceOrigin.PLAN, 30.0 / ARCSEC_PER_RAD, this) for this in (True, False)}
    assert said == {True: "In use: 30″, this plan.", False: "In use: 30″, another plan."}


def test_the_last_plan_is_kept_with_the_rig(tmp_path: Path) -> None:
    store: ProfileStore[RigProfile] = ProfileStore(tmp_path, RIGS)
    stored = store.add(RigProfile("garden rig", 900.0, 4.0))
    assert plan_from_dict(stored.profile.plan) is None
    store.save(stored, replace(stored.profile, plan=plan_to_dict(DEMANDING)))
    (again,) = store.load_all().profiles
    assert plan_from_dict(again.profile.plan) == DEMANDING
    assert plan_from_dict({"declination_deg": "north"}) is None
    assert plan_from_dict({"declination_deg": 40.0, "sub_s": -1.0}) is None


def test_a_rig_of_the_first_version_has_no_plan_yet(tmp_path: Path) -> None:
    folder = tmp_path / RIGS.folder
    folder.mkdir()
    old = {"format": "polewright-rig", "version": 1, "name": "old", "focal_length_mm": 400.0, "pixel_size_um": 4.0}
    (folder / "old.json").write_text(json.dumps({**old, "screws": {"azimuth": {"x": 1}}}), encoding="utf-8")
    store: ProfileStore[RigProfile] = ProfileStore(tmp_path, RIGS)
    (stored,) = store.load_all().profiles
    assert stored.profile.plan == {} and stored.profile.screws == {"azimuth": {"x": 1}}
    assert store.save(stored, replace(stored.profile, notes="seen")).members["version"] == RIGS.version


@pytest.fixture(scope="module")
def table() -> PlanStudy:
    return study(DEMANDING.at(SITE), TargetPole.REFRACTED)


@pytest.mark.parametrize("error_arcsec", [8.0, 45.0, 200.0])
@pytest.mark.parametrize("seconds", [60.0, 600.0, 2400.0])
def test_the_tables_agree_with_the_simulation(table: PlanStudy, error_arcsec: float, seconds: float) -> None:
    """Between the nodes as well: 3 % is less than a pixel's own width shows."""
    error = error_arcsec / ARCSEC_PER_RAD
    exact = worst_blur_px(DEMANDING.at(SITE), TargetPole.REFRACTED, error, seconds)
    assert table.blur_px(error, seconds) == pytest.approx(exact, rel=0.03)


def test_the_tables_tell_how_long_one_may_expose(table: PlanStudy) -> None:
    error = 40.0 / ARCSEC_PER_RAD
    exact = longest_exposure_s(DEMANDING.at(SITE), TargetPole.REFRACTED, error)
    assert isinstance(exact, float)
    assert table.longest_s(error) == pytest.approx(exact, rel=0.03)
    assert table.blur_px(error, table.longest_s(error)) == pytest.approx(DEMANDING.allowed_blur_px, rel=0.01)


def test_the_tables_over_declination_leave_out_what_is_too_low(table: PlanStudy) -> None:
    """Unguided drift goes with the distance the star travels: |W x s| <= w E, anywhere (vectors, no source)."""
    assert table.declinations_deg.min() > SITE.lat_deg - 90.0
    curve = table.along_declination(2.0 / ARCMIN_PER_RAD)
    assert curve.shape == table.declinations_deg.shape and (curve > 0.0).all()
    here = float(np.interp(DEMANDING.declination_deg, table.declinations_deg, curve))
    assert here == pytest.approx(table.blur_px(2.0 / ARCMIN_PER_RAD), rel=0.1)


def test_the_usual_plan_suits_any_site_and_asks_little() -> None:
    for lat in (-70.0, -33.9, 0.0, 21.0, 52.35, 78.0):
        site = Site(lat, 0.0)
        needs = needed_accuracy(usual_plan(site).at(site))
        assert isinstance(needs, Tolerance) and needs.feasible and needs.advised_rad <= CAP_RAD


def test_the_report_says_whether_the_final_error_serves_the_plan() -> None:
    """The blur told is the simulated one; beyond the allowed blur the cure is a shorter exposure."""
    tiny = ((1e-12, 0.0), (0.0, 1e-12))
    found = planned(TonightsPlan(69.1, focal_length_mm=800.0, sub_s=300.0, hours=3.0, target="M81"))
    facts = NightFacts(site=SITE, target=TargetPole.REFRACTED, tolerance_rad=1e-4, imaging=found)
    facts.final = Offset(24.0 / ARCSEC_PER_RAD, 0.0, tiny)
    told = verdict(facts)["more"][-1]
    assert told.startswith("Plan: M81, 5 min guided at 800 mm. With the measured error of 24″ your 5 min exposures")
    assert told.endswith("of 0.5 px allowed: the alignment is good enough for the plan.")
    facts.final = Offset(20.0 / ARCMIN_PER_RAD, 0.0, tiny)
    assert "more than the 0.5 px allowed. Expose no longer than" in verdict(facts)["more"][-1]
    facts.imaging = None
    assert len(verdict(facts)["more"]) == 2
