"""Tonight's plan in the real window: entered by keyboard, it sets the floor of the well, and the record has it."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from flows.test_window_nights import begin_night
from polewright.core.model import TargetPole
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import NightStarted, ToleranceChanged
from polewright.core.night.states import NightState, Waiting
from polewright.core.night.table import step
from polewright.core.plan.tolerance import Tolerance, needed_accuracy
from polewright.core.plan.tonight import ToleranceOrigin, TonightsPlan, plan_from_dict
from polewright.services.night_log import read_night
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS
from polewright.ui import intents as want
from polewright.ui.driving.replay_scene import ReplayScene
from polewright.ui.plan_page import PlanPage
from polewright.ui.view_model import Fact, Page
from polewright.words.window import PLAN_UNUSED
from sky_solver import shared_catalogue, shared_solver
from window_in_virtual_time import Bench, Sky, clear_away, turn_axis, virtual_clock

CTRL = Qt.KeyboardModifier.ControlModifier
RETURN, TAB, ESCAPE = Qt.Key.Key_Return, Qt.Key.Key_Tab, Qt.Key.Key_Escape


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    threads = set(threading.enumerate())
    made = Bench(tmp_path, Sky(shared_solver(), shared_catalogue()), virtual_clock()).open()
    yield made
    made.close()
    clear_away()
    assert [t.name for t in threading.enumerate() if t not in threads] == []


@pytest.fixture(autouse=True)
def coarse_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field that is typed makes new tables: here rough ones will do (tests/unit checks the fine ones)."""
    for name, value in (("_ERRORS", 4), ("_COARSE", 2), ("_DIRECTIONS", 4), ("_HOURS", 2), ("_TIMES", 3)):
        monkeypatch.setattr(f"polewright.core.plan.study.{name}", value)


def page(bench: Bench) -> PlanPage:
    return bench.window.plan_page


def type_into(bench: Bench, name: str, text: str) -> None:
    """As a person does: into the field, over what stands there, and on with Tab."""
    edit = page(bench).fields[name].edit
    edit.setFocus(Qt.FocusReason.TabFocusReason)
    edit.selectAll()
    QTest.keyClicks(edit, text)
    bench.key(TAB)


def needed_fact(bench: Bench) -> Fact:
    """What the page of the first stage says about the tolerance."""
    assert bench.view.orientation is not None
    return next(fact for fact in bench.view.orientation.facts if fact.label == "needed")


def plan_it(bench: Bench) -> None:
    """A demanding plan: M81 unguided, one minute at 900 mm."""
    bench.key(Qt.Key.Key_E)
    assert page(bench).isVisible()
    type_into(bench, "target", "m 81")
    for name, text in (("exposure", "60"), ("hours", "3"), ("focal_length", "900"), ("pixel_size", "4,0")):
        type_into(bench, name, text)
    bench.key(Qt.Key.Key_G, CTRL)


def state_of(bench: Bench) -> NightState:
    return bench.desk.engine.state


def expected(target: TargetPole, site_of: NightState) -> Tolerance:
    """The same plan, straight from the simulation."""
    plan = TonightsPlan(69.1, 900.0, 4.0, sub_s=60.0, hours=3.0, target="M81", guided=False)
    assert site_of.plan is not None
    needs = needed_accuracy(plan.at(site_of.plan.site), target)
    assert isinstance(needs, Tolerance)
    return needs


def test_a_plan_entered_in_the_window_is_tonights(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    assert bench.view.reticle.tolerance_text == "usual tolerance: 30″"
    assert needed_fact(bench).value == "30″"
    plan_it(bench)
    shown = page(bench).view
    assert shown is not None and shown.form.declination == "69.1", "the list knows where it stands"
    assert shown.problem == "" and len(shown.plots) == 3 and not shown.form.guided
    assert shown.status == "In use: 30″, usual tolerance."
    assert state_of(bench).plan.origin is ToleranceOrigin.USUAL

    bench.key(RETURN, CTRL)
    assert not page(bench).isVisible() and bench.view.page is Page.ORIENTATION
    night = state_of(bench).plan
    assert night is not None and night.imaging is not None
    needs = expected(night.target, state_of(bench))
    assert night.origin is ToleranceOrigin.PLAN and night.imaging.needs == needs
    assert night.tolerance_rad == needs.advised_rad
    assert bench.view.reticle.tolerance_text.startswith("for tonight's plan: ")
    assert bench.view.reticle.tolerance_arcmin == pytest.approx(math.degrees(needs.advised_rad) * 60.0)
    assert needed_fact(bench).words == "M81, 1 min unguided at 900 mm"

    (rig,) = ProfileStore(bench.home / "config", RIGS).load_all().profiles
    assert plan_from_dict(rig.profile.plan) == night.imaging.plan
    log = read_night(Path(bench.driver._remembered.open_night))
    events = [event_from_plain(line.data) for line in log.events if line.kind == "event"]
    (change,) = (event for event in events if isinstance(event, ToleranceChanged))
    assert change.imaging == night.imaging and change.tolerance_rad == night.tolerance_rad
    again: NightState = Waiting()
    for event in events:
        again, _ = step(again, event)
    assert again.plan == night, "the record alone tells the same"
    bench.key(Qt.Key.Key_Z, CTRL)
    assert bench.view.reticle.tolerance_text == "usual tolerance: 30″", "a plan can be taken back"


def test_it_holds_after_closing_in_replay_and_the_next_night(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    plan_it(bench)
    bench.key(RETURN, CTRL)
    night, text = state_of(bench).plan, bench.view.reticle.tolerance_text
    folder = Path(bench.driver._remembered.open_night)
    bench.close()

    again = Bench(tmp_path, bench.sky, bench.clock).open()
    again.driver.begin()
    assert state_of(again).plan == night and again.view.reticle.tolerance_text == text
    again.key(ESCAPE)
    again.key(Qt.Key.Key_E)
    assert page(again).fields["focal_length"].edit.text() == "900", "the page begins with the plan that holds"
    assert page(again).view.status.endswith(", this plan.")
    again.key(ESCAPE)
    again.key(Qt.Key.Key_W, CTRL)
    again.key(Qt.Key.Key_W, CTRL)  # it asks once

    again.driver.act(want.OpenReplay(folder / "night.jsonl"))
    assert isinstance(again.driver.scene, ReplayScene)
    again.driver.act(want.Scrub(1e9))
    assert again.view.reticle.tolerance_text == text
    again.key(Qt.Key.Key_W, CTRL)  # to the list of earlier nights, and from there to the first page
    again.key(ESCAPE)

    again.key(RETURN, CTRL)  # another night with the same rig
    started = state_of(again).plan
    assert started is not None and night is not None
    assert (started.origin, started.imaging) == (ToleranceOrigin.PLAN, night.imaging)
    assert again.view.reticle.tolerance_text == text
    log = read_night(Path(again.driver._remembered.open_night))
    first = event_from_plain(next(line.data for line in log.events if line.kind == "event"))
    assert isinstance(first, NightStarted) and first.imaging == night.imaging
    again.close()


def test_done_comes_with_the_plans_own_limit(bench: Bench, tmp_path: Path) -> None:
    """One measured axis, two plans: good enough for a camera lens, not for a long focus without guiding."""
    _, practice = begin_night(bench, tmp_path)
    bench.key(RETURN)
    turn_axis(bench, practice)
    bench.until(lambda view: view.reticle.axis is not None, 240.0)
    practice.stop()
    total = state_of(bench).offset.total_rad
    bench.key(Qt.Key.Key_E)
    assert page(bench).isVisible()
    facts = {fact.label: fact for fact in page(bench).view.facts}
    assert facts["now"].words.startswith("2 min exposures, guided, blur by ")
    assert facts["longest"].words.endswith("with the error there is now")
    plots = page(bench).view.plots
    assert all(any(mark.now for mark in plot.marks) for plot in plots)
    for focal, sub, guided, done in (("24", "5", True, True), ("2000", "600", False, False)):
        for name, text in (("focal_length", focal), ("exposure", sub), ("allowed_blur", "2")):
            type_into(bench, name, text)
        if page(bench).guided.isChecked() is not guided:
            bench.key(Qt.Key.Key_G, CTRL)
        bench.key(RETURN, CTRL)
        night = state_of(bench).plan
        assert night is not None and (total < night.tolerance_rad) is (done and total < math.radians(5.0 / 60.0))
        assert state_of(bench).inside == pytest.approx(1.0 if total < night.tolerance_rad else 0.0, abs=0.05)
        bench.key(Qt.Key.Key_E)
    bench.key(ESCAPE)


def test_keys_list_and_poles(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.key(Qt.Key.Key_T)  # from the refracted pole to the true one
    bench.key(Qt.Key.Key_E)
    assert QApplication.focusWidget() is page(bench).fields["target"].edit
    bench.key(Qt.Key.Key_T, CTRL)
    assert page(bench).objects.isVisible()
    first = QApplication.focusWidget()
    bench.key(Qt.Key.Key_Right)
    bench.key(Qt.Key.Key_Down)
    bench.key(Qt.Key.Key_Up)
    bench.key(Qt.Key.Key_Left)
    assert QApplication.focusWidget() is first
    bench.key(Qt.Key.Key_Right)
    bench.key(Qt.Key.Key_Space)
    assert not page(bench).objects.isVisible()
    assert page(bench).view.form.target == "M8"
    bench.key(Qt.Key.Key_T, CTRL)
    bench.key(ESCAPE)
    assert page(bench).isVisible() and not page(bench).objects.isVisible()
    for key, index in ((Qt.Key.Key_2, 1), (Qt.Key.Key_3, 2), (Qt.Key.Key_1, 0)):
        bench.key(key, CTRL)
        assert page(bench).chosen_plot == index
    bench.key(Qt.Key.Key_F1)
    assert bench.window.keys_page.isVisible() and ("Ctrl+T", "list of targets") in bench.window.keys_page.pairs
    bench.key(ESCAPE)
    assert page(bench).isVisible(), "back to where the keys were asked for"

    type_into(bench, "declination", "87")
    assert page(bench).view.form.target == ""
    type_into(bench, "focal_length", "2000")
    type_into(bench, "exposure", "900")
    shown = page(bench).view
    assert shown is not None and shown.aim_text and shown.aim is not None
    bench.key(Qt.Key.Key_B, CTRL)
    assert state_of(bench).plan.target is shown.aim.target
    assert page(bench).view.aim_text == "" and page(bench).isVisible()
    bench.key(ESCAPE)
    assert not page(bench).isVisible()


def test_what_is_wrong_is_said_and_cannot_be_used(bench: Bench, tmp_path: Path) -> None:
    begin_night(bench, tmp_path)
    bench.key(Qt.Key.Key_E)
    for name, text, word in (
        ("sensor", "large", "width by height"),
        ("sensor", "6000x4000", ""),
        ("declination", "91", "declination lies"),
        ("declination", "-60", "below the horizon"),
    ):
        type_into(bench, name, text)
        shown = page(bench).view
        assert shown is not None and (word in shown.problem if word else not shown.problem)
    assert shown.cure and not page(bench).use.isEnabled()
    bench.key(RETURN, CTRL)
    assert page(bench).isVisible()
    assert page(bench).head.text == page(bench).use.toolTip() == shown.problem, "a grey button says why"
    assert page(bench).noted.text == PLAN_UNUSED, "the key is answered, and the problem not said twice"
    assert state_of(bench).plan.imaging is None
    type_into(bench, "declination", "41")
    assert page(bench).noted.role == "faint", "what was said once is loud no longer"
    bench.key(ESCAPE)


def test_a_plan_that_cannot_be_kept_here_is_told(bench: Bench, tmp_path: Path) -> None:
    """The last plan was made elsewhere: its target never rises here."""
    from dataclasses import replace

    from polewright.core.plan.tonight import plan_to_dict
    from polewright.services.profiles import RigProfile

    store: ProfileStore[RigProfile] = ProfileStore(bench.home / "config", RIGS)
    stored = store.add(RigProfile("240 mm, 5 µm pixels", 240.0, 5.0))
    store.save(stored, replace(stored.profile, plan=plan_to_dict(TonightsPlan(-70.0))))
    begin_night(bench, tmp_path)
    assert bench.view.reticle.tolerance_text == "usual tolerance: 30″"
    assert bench.view.trouble is not None and "last plan with this rig" in bench.view.trouble.cause


def test_in_a_rehearsal_the_plan_holds_and_nothing_is_remembered(bench: Bench) -> None:
    bench.driver.begin()
    bench.driver.act(want.StartRehearsal("calm", 3))
    bench.wait(1.0)
    bench.key(Qt.Key.Key_E)
    bench.key(RETURN, CTRL)
    assert bench.view.reticle.tolerance_text.startswith("for tonight's plan")
    assert not (bench.home / "config" / "rigs").exists()


def test_every_stage_offers_the_plan(bench: Bench, tmp_path: Path) -> None:
    _, practice = begin_night(bench, tmp_path)
    seen = set()
    for _ in range(2):
        seen.add(bench.view.page)
        assert any(a.key == "E" and isinstance(a.intent, want.ShowPlan) for a in bench.view.actions)
        bench.window.build_menu()
        assert any(entry.text().startswith("Tonight's plan") for entry in bench.window.menu.actions())
        bench.key(RETURN)
    practice.stop()
    assert {Page.ORIENTATION, Page.CAPTURE} <= seen
