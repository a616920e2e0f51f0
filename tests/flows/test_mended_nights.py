"""Site, rig and clock mended in the middle of a night: in the same record, by keys, against the simulated truth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.model import Sourced
from polewright.core.night.states import Running, Stage, begun
from polewright.practice.world import RehearsalWorld, TrueOffset
from polewright.runtime.jobs import Done
from polewright.runtime.retrace import CheckedReplay
from polewright.services.clock import VirtualClock
from polewright.services.measuring import MeasuredFrame
from polewright.services.night_log import read_night
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS
from polewright.services.report.facts import gather
from polewright.services.report.page import plain_result
from polewright.services.report.writing import write_report
from polewright.simulate.night import utc_of
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import SCENARIOS
from polewright.ui import intents as want
from polewright.ui.driving.form import Known, clock_of
from polewright.ui.driving.night_scene import NightScene
from polewright.ui.night_report import read_report
from polewright.ui.view_model import Page, Weight
from polewright.words.forms import CLOCK
from sky_solver import shared_catalogue, shared_solver
from star_list_nights import StarListsOnly
from window_in_virtual_time import Bench, InlinePractice, Sky, clear_away, turn_axis

CTRL = Qt.KeyboardModifier.ControlModifier
RETURN = Qt.Key.Key_Return
SCENARIO, SEED = "calm", 3
ZONE_S = 3600.0


class LateClock(Sky):
    """A camera whose clock is ahead: its frames say so."""

    ahead_s = 0.0

    def measure(self, path: Path) -> MeasuredFrame:
        measured = super().measure(path)
        utc = measured.frame.utc_mid
        assert utc is not None
        stated = Sourced(utc.value.plus_seconds(self.ahead_s), "camera")
        return replace(measured, frame=replace(measured.frame, utc_mid=stated))


def late_clock_bench(home: Path) -> Iterator[Bench]:
    """A window that is closed again, under a camera whose clock can be set ahead."""
    clock = VirtualClock(utc_of(SCENARIOS[SCENARIO].start))
    made = Bench(home, LateClock(shared_solver(), shared_catalogue()), clock).open()
    yield made
    made.close()
    clear_away()


@pytest.fixture
def bench(qtbot: QtBot, tmp_path: Path) -> Iterator[Bench]:
    yield from late_clock_bench(tmp_path)


def begin(bench: Bench, ahead_s: float = 0.0, longitude: str = "") -> InlinePractice:
    folder = bench.home / "frames"
    folder.mkdir()
    rig = SimulatedRig(SCENARIOS[SCENARIO], SEED, shared_catalogue())
    rig.write_frame(folder, rig.night.start, 1.0)
    bench.driver.begin()
    bench.driver.act(want.ChooseFolder(folder))
    if longitude:
        bench.driver.act(replace(bench.window.first.filled(), longitude=longitude))
    bench.key(RETURN, CTRL)
    assert isinstance(bench.driver.scene, NightScene) and isinstance(bench.sky, LateClock)
    bench.sky.ahead_s = ahead_s
    world = RehearsalWorld(SCENARIO, SEED, catalogue=shared_catalogue())
    bench.sky.lists = StarListsOnly(world, bench.sky.solver, SEED, bench.desk.frame_arrived)
    return InlinePractice(world, bench.sky.lists.deliver, bench.clock, bench.clock)


def doubted(bench: Bench) -> None:
    """Until enough frames have come to offer the clock's offset."""
    bench.until(lambda view: any(action.key == "Ctrl+K" for action in view.actions), 120.0)


def running(bench: Bench) -> Running:
    return begun(bench.desk.engine.state)


def missed_arcmin(bench: Bench, practice: InlinePractice) -> float:
    """How far the measured axis lies from the simulated mount's."""
    offset = running(bench).offset
    truth: list[object] = []
    practice.ask(lambda world: world.true_offset(running(bench).plan.target), truth.append)
    true = truth[0]
    assert offset is not None and isinstance(true, TrueOffset)
    east, up = offset.east_rad * ARCMIN_PER_RAD, offset.up_rad * ARCMIN_PER_RAD
    return math.hypot(east - true.east_arcmin, up - true.up_arcmin)


def test_a_clock_an_hour_ahead_is_put_right_by_one_key(bench: Bench) -> None:
    practice = begin(bench, ZONE_S)
    doubted(bench)
    assert bench.view.orientation is not None
    row = next(fact for fact in bench.view.orientation.facts if fact.label == "clock")
    assert "1 h ahead" in row.words
    action = next(action for action in bench.view.actions if action.key == "Ctrl+K")
    assert action.label == "Put the frames' clock 1 h back" and action.weight is Weight.PRIMARY
    assert action.intent == want.SetClock(ZONE_S), "a time zone is a whole hour"
    bench.key(RETURN)
    turn_axis(bench, practice)
    wrong = missed_arcmin(bench, practice)
    bench.key(Qt.Key.Key_K, CTRL)
    assert running(bench).stage is Stage.CAPTURE and running(bench).capture.axis is None
    assert bench.view.trouble is not None
    assert bench.view.trouble.cause == "From now on 1 h taken off the frames' times."
    assert "measured again" in bench.view.trouble.cure
    turn_axis(bench, practice)
    right = missed_arcmin(bench, practice)
    assert right < 1.0 and wrong > 10.0 * right, "an hour turns the error about the pole by 15 degrees"
    assert all(action.key != "Ctrl+K" for action in bench.view.actions), "the clocks agree now"
    (rig,) = ProfileStore(bench.home / "config", RIGS).load_all().bare()
    assert rig.clock_ahead_s == ZONE_S


def test_the_clock_is_told_in_the_record_the_report_and_json_and_replays(bench: Bench) -> None:
    practice = begin(bench, ZONE_S)
    bench.key(RETURN)
    doubted(bench)
    bench.key(Qt.Key.Key_K, CTRL)
    turn_axis(bench, practice)
    night = Path(bench.driver._remembered.open_night)
    log = read_night(night)
    replay = CheckedReplay()
    for line in log.events:
        replay.take(line)
    assert replay.numbers_checked > 5 and replay.differences == []
    facts = gather(log, night.name)
    assert facts.clock_ahead_s == ZONE_S and plain_result(facts)["clock_ahead_s"] == ZONE_S
    paths = write_report(*read_report(night, night.name, True), bench.home / "report")
    page = next(path for path in paths if path.suffix == ".html").read_text(encoding="utf-8")
    assert "1 h taken off the frames" in page


def test_taking_the_clock_back_is_one_key_and_the_rig_forgets_it(bench: Bench) -> None:
    begin(bench, ZONE_S)
    doubted(bench)
    bench.key(Qt.Key.Key_K, CTRL)
    assert running(bench).plan.clock_ahead_s == ZONE_S
    bench.key(Qt.Key.Key_Z, CTRL)
    assert running(bench).plan.clock_ahead_s == 0.0
    (rig,) = ProfileStore(bench.home / "config", RIGS).load_all().bare()
    assert rig.clock_ahead_s == 0.0


def test_the_next_night_of_the_rig_begins_with_its_clock(bench: Bench) -> None:
    begin(bench, ZONE_S)
    doubted(bench)
    bench.key(Qt.Key.Key_K, CTRL)
    bench.key(Qt.Key.Key_W, CTRL)
    assert bench.view.page is Page.FIRST_RUN and "clock 1 h ahead" in bench.view.form.rig_note
    bench.key(RETURN, CTRL)
    assert running(bench).plan.clock_ahead_s == ZONE_S
    assert bench.view.orientation is not None
    row = next(fact for fact in bench.view.orientation.facts if fact.label == "clock")
    assert row.words == "1 h taken off the frames' times"


def test_frames_on_their_way_are_placed_by_the_mended_clock(bench: Bench) -> None:
    """A frame that was measured before the key and delivered after it belongs to the new time."""
    begin(bench, ZONE_S)
    bench.key(RETURN)
    doubted(bench)
    plan = running(bench).plan
    engine = bench.desk.engine
    held: list[object] = []
    engine._jobs.submit = lambda work, deliver, keep: held.extend((work(), deliver))  # type: ignore[method-assign, misc]
    bench.wait(25.0)
    assert held, "a frame is on its way"
    bench.key(Qt.Key.Key_K, CTRL)
    held[1](Done(held[0]))
    placed = running(bench).capture.frames[-1]
    assert plan.clock_ahead_s == 0.0
    assert abs(placed.utc_mid.seconds_since(bench.clock.utc())) < 60.0


def test_the_site_is_edited_in_the_same_record_and_the_screws_stay(bench: Bench) -> None:
    practice = begin(bench, longitude="18")
    bench.key(RETURN)
    turn_axis(bench, practice)
    assert running(bench).capture.axis is not None
    night, wrong = bench.driver._remembered.open_night, missed_arcmin(bench, practice)
    bench.key(Qt.Key.Key_I, CTRL)
    assert bench.view.page is Page.FIRST_RUN and bench.view.form.longitude == "18"
    assert bench.window.first.begin.text() == "Go on with these"
    assert not bench.window.first.rehearse.isVisible() and bench.window.first.back.isVisible()
    for key in (Qt.Key.Key_P, Qt.Key.Key_L):
        bench.key(key, CTRL)
        assert bench.view.page is Page.FIRST_RUN and bench.driver._behind is not None
    bench.key(Qt.Key.Key_Escape)  # what it says
    bench.key(Qt.Key.Key_Escape)
    assert bench.view.page is not Page.FIRST_RUN and running(bench).capture.axis is not None, "nothing is lost"
    assert running(bench).plan.site.lon_deg == 18.0
    bench.key(Qt.Key.Key_I, CTRL)
    bench.driver.act(replace(bench.window.first.filled(), longitude="3", site_name="Heath"))
    bench.key(RETURN, CTRL)
    assert bench.driver._remembered.open_night == night and len(bench.desks) == 1, "the same record"
    assert running(bench).stage is Stage.CAPTURE and running(bench).plan.site.lon_deg == 3.0
    assert bench.view.title.startswith("Heath · ")
    assert bench.view.trouble is not None and bench.view.trouble.cause.startswith("Changed: the site")
    assert "measured anew" in bench.view.trouble.cure
    turn_axis(bench, practice)
    assert missed_arcmin(bench, practice) < 1.0 < 0.1 * wrong


def test_another_rig_and_folder_change_no_measurement(bench: Bench) -> None:
    practice = begin(bench)
    bench.key(RETURN)
    turn_axis(bench, practice)
    axis = running(bench).capture.axis
    other = bench.home / "elsewhere"
    other.mkdir()
    bench.key(Qt.Key.Key_I, CTRL)
    filled = replace(bench.window.first.filled(), rig_name="Second mount", focal_length="250", folder=str(other))
    bench.driver.act(filled)
    bench.key(RETURN, CTRL)
    assert running(bench).capture.axis == axis and bench.desk.watched == other
    assert bench.view.title.endswith(" · Second mount")
    assert bench.view.trouble is not None
    assert bench.view.trouble.cause == "Changed: the rig, the optics, the folder."
    assert bench.view.trouble.cure == "Everything measured tonight stays."
    rigs = {rig.name: rig for rig in ProfileStore(bench.home / "config", RIGS).load_all().bare()}
    assert rigs["Second mount"].focal_length_mm == 250.0


def test_quitting_while_the_form_lies_over_the_night_asks_and_resumes(bench: Bench) -> None:
    begin(bench)
    bench.key(RETURN)
    bench.wait(10.0)
    bench.key(Qt.Key.Key_I, CTRL)
    assert not bench.window.close(), "the night behind the form is asked for"
    assert bench.view.trouble is not None and bench.view.trouble.cause.startswith("Close the window?")
    assert bench.window.close()
    again = Bench(bench.home, bench.sky, bench.clock).open()
    again.driver.begin()
    assert isinstance(again.driver.scene, NightScene)
    again.close()


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("", None), ("90", 90.0), ("-3600", -3600.0), ("1:00:00", 3600.0), ("−0:15", -900.0), ("0", 0.0)],
)
def test_a_clock_is_typed_in_seconds_or_as_on_a_clock(text: str, seconds: float | None) -> None:
    assert clock_of(Known(clock=text)) == seconds


@pytest.mark.parametrize("text", ["soon", "1:75", "1:2:3:4", "nan", "1e30", ":"])
def test_a_clock_that_is_none_says_how_to_type_it(text: str) -> None:
    assert clock_of(Known(clock=text)) == CLOCK
