"""Every sentence, label, report cell, JSON field and sound that names a direction, against the simulated mount.

One table (tests/direction_nights.py): north and south, axis east and west, high and low, screws that a clockwise turn
moves one way or the other. What is drawn is checked in tests/screens/test_drawn_directions.py. That the azimuth
screw's bar stands on the side of the marker, and what "clockwise" means, are the program's own conventions.
"""

from __future__ import annotations

import csv
import io
import math
import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from direction_nights import CASES, SENSES, START, Case, DirectionNight, azimuth_left, learned
from polewright.commands import follow, measure, rehearse, simulate
from polewright.commands.drift import place_text
from polewright.commands.line import run
from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.axis.estimate import estimate_axis
from polewright.core.axis_reasons import ClocksDiffer, Look, TrackingSeemsSwitched, WeakView
from polewright.core.model import AxisEstimate, Site, TargetPole
from polewright.core.night.advice import Advice, RotateAxis, TurnBegins
from polewright.core.night.events import Accepted, BackAsked, ScrewTurned
from polewright.core.night.states import Stage
from polewright.core.plain import to_plain
from polewright.core.plan.sky_choice import choose_sky
from polewright.core.screws.angles import Screw
from polewright.practice.deeds import _place_text, rotate_axis, turn_screw
from polewright.practice.world import TrueOffset
from polewright.services.clock import VirtualClock
from polewright.services.magnetic import MagneticDeclination
from polewright.services.night_log import read_night
from polewright.services.paths import data_folder
from polewright.services.recorder import NightRecorder
from polewright.services.report.facts import NightFacts, gather
from polewright.services.report.history import history_of, starting_hint
from polewright.services.report.page import plain_result, report_html
from polewright.services.report.pictures import well
from polewright.services.report.tables import measurements_csv
from polewright.ui.listening import phrase_for
from polewright.ui.presenting.drift import _title
from polewright.ui.presenting.extras import Extras
from polewright.ui.presenting.stand import stand_page
from polewright.ui.sound_plan import BASE_HZ, RATE_HZ, Phrase, render
from polewright.ui.view_model import Sense
from polewright.ui.well_scale import scale_for
from polewright.words.axis import clock_apart, follow_words
from polewright.words.coach import _place, say
from polewright.words.deeds import axis_text, deed_text
from polewright.words.numbers import clock_face_text
from polewright.words.plan import sky_direction, sky_words
from polewright.words.screws import lock_words

TABLE = pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
EAST = {"east": "too far east", "west": "too far west"}
HEIGHT = {"high": "too high", "low": "too low"}
OTHER = {"east": "west", "west": "east", "high": "low", "low": "high"}


@cache
def facts_of(case: Case) -> NightFacts:
    """What the report gathers of such a night, accepted as it is."""
    night = DirectionNight(case).learned()
    night.take(Accepted(night.now_s + 1.0))
    night.take(Accepted(night.now_s + 2.0))
    folder = data_folder() / "directions" / case.name
    recorder = NightRecorder(folder, VirtualClock(START))
    for event in night.events:
        recorder.record("event", to_plain(event))
    recorder.close()
    return gather(read_night(folder), case.name)


def measured(night: DirectionNight) -> AxisEstimate:
    """The axis as `measure` finds it in the frames of the capture."""
    frames = [frame.sky_frame() for frame in night.state.capture.frames]
    found = estimate_axis(frames, night.site, night.state.plan.air, TargetPole.TRUE)
    assert isinstance(found, AxisEstimate)
    return found


def only(text: str, right: str, wrong: str) -> None:
    """The one word stands there, its opposite does not."""
    assert right in text and wrong not in text, text


# the window


@TABLE
def test_the_numbers_name_the_side_of_the_axis(case: Case) -> None:
    night = learned(case)
    facts = {fact.label: fact for fact in night.view.numbers}
    only(facts["azimuth"].words, EAST[night.side], EAST[OTHER[night.side]])
    only(facts["altitude"].words, HEIGHT[night.height], HEIGHT[OTHER[night.height]])
    assert (night.side, night.height) == (case.east, case.height)


@TABLE
def test_the_instruction_turns_the_axis_home(case: Case) -> None:
    for night, screw, words in (
        (learned(case), Screw.ALTITUDE, HEIGHT),
        (azimuth_left(case), Screw.AZIMUTH, EAST),
    ):
        said, home = night.view.instruction, night.way_home(screw)
        away = next(sense for sense in SENSES if sense != home)
        assert screw.value in said.sentence
        assert re.search(rf"\b{home}\b", said.sentence) and not re.search(rf"\b{away}\b", said.sentence)
        side = night.height if screw is Screw.ALTITUDE else night.side
        only(said.reason, words[side], words[OTHER[side]])


@TABLE
def test_the_strips_show_the_way_home_and_where_the_axis_is(case: Case) -> None:
    for night in (learned(case), azimuth_left(case)):
        for strip in night.view.strips:
            if strip.stop or strip.sense is None:
                continue
            assert strip.sense.value == strip.sense_text == night.way_home(strip.screw)
            positive = night.side == "east" if strip.screw is Screw.AZIMUTH else night.height == "high"
            assert (strip.signed_turns > 0.0) is positive


@TABLE
def test_the_marker_and_the_path_lie_where_the_axis_is(case: Case) -> None:
    for night, screw in ((learned(case), Screw.ALTITUDE), (azimuth_left(case), Screw.AZIMUTH)):
        reticle = night.view.reticle
        assert reticle.axis is not None
        assert (reticle.axis.east_arcmin > 0.0) is (night.side == "east")
        assert reticle.southern is case.southern
        ways = [abs(p.up_arcmin if screw is Screw.ALTITUDE else p.east_arcmin) for p in reticle.path]
        assert len(ways) > 2 and ways[1] < ways[0] and ways[-1] < 0.7 * ways[0]
    assert (learned(case).view.reticle.axis.up_arcmin > 0.0) is (case.height == "high")


def pitches(phrase: Phrase) -> list[float]:
    """The strongest pitch of each note, from its samples."""
    samples = render(phrase).astype(float)
    found = []
    for note in phrase.notes:
        first = round(note.start_s * RATE_HZ)
        wave = samples[first : first + round(note.length_s * RATE_HZ)]
        power = np.abs(np.fft.rfft(wave * np.hanning(wave.size), 1 << 16))
        found.append(float(np.argmax(power)) * RATE_HZ / (1 << 16))
    return found


@TABLE
def test_the_sound_rises_for_clockwise(case: Case) -> None:
    """Heard: pitches are taken from the samples by a Fourier transform."""
    for night, screw in ((learned(case), Screw.ALTITUDE), (azimuth_left(case), Screw.AZIMUTH)):
        phrase = phrase_for(None, night.view)
        assert phrase is not None
        first, second = pitches(phrase)
        assert (second > 1.2 * first) is (night.way_home(screw) == "clockwise")
        assert min(first, second) == pytest.approx(BASE_HZ[screw], rel=0.02)


# turning the RA axis


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("begin_h", [-3.0, 4.0])
def test_rotate_west_makes_the_hour_angle_grow(southern: bool, begin_h: float) -> None:
    night = DirectionNight(Case(southern, "east", "high", "clockwise"), begin_h)
    night.look()
    asked = night.advice.action
    assert isinstance(asked, RotateAxis)
    before = night.hour_angle_deg()
    assert before == pytest.approx(15.0 * begin_h, abs=3.0)
    sentence = night.view.instruction.sentence
    night.rotate(asked.west_deg)
    west = night.hour_angle_deg() > before
    only(sentence, " west." if west else " east.", " east." if west else " west.")
    assert west is (begin_h < 0.0), "the camera is turned to where the sky is free"
    done = rotate_axis(asked.west_deg)(fake_world())
    only(done.text, "west" if west else "east", "east" if west else "west")


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("begin_h", [-4.5, -3.0, 4.0])
def test_the_dial_runs_as_the_camera_goes_round(southern: bool, begin_h: float) -> None:
    """Seen from behind the mount, along the axis: the marks lie as the camera stood, the arrow goes as it will go."""
    night = DirectionNight(Case(southern, "east", "high", "clockwise"), begin_h)
    night.look()
    gone_deg = 0.0
    for places in (1, 2):
        asked, dial = night.advice.action, night.view.capture
        assert isinstance(asked, RotateAxis) and dial is not None and len(dial.taken_deg) == places
        sense = 1.0 if dial.southern else -1.0  # ui/capture_dial.py: clockwise, or anticlockwise
        assert sense * (dial.taken_deg[-1] - dial.taken_deg[0]) == pytest.approx(gone_deg, abs=1.5)
        assert dial.now_deg == pytest.approx(dial.taken_deg[-1], abs=1.5)
        gone_deg = night.turn_behind_the_mount_deg(asked.west_deg)
        if places == 1:
            assert (sense > 0.0) is (gone_deg > 0.0)
        else:
            assert sense * (dial.wanted_deg - dial.taken_deg[-1]) == pytest.approx(gone_deg, abs=1.5)
        seen = [frame.camera_to_enu for frame in night.state.capture.frames]
        night.rotate(asked.west_deg)
        there = np.array(night.mount.attitude(night.now_s))[:, 2]
        apart = [math.degrees(math.acos(float(there @ np.array(old)[:, 2]))) for old in seen]
        assert min(apart) > 8.0, "a turn leads to where no frame was taken yet"


def fake_world() -> Any:
    """For deeds whose words alone are wanted."""
    rig = SimpleNamespace(rotate_ra=lambda west_deg, at: at, turn=lambda screw, turns, at: at)
    return SimpleNamespace(rig=rig, now=lambda: None, seconds_until=lambda at: 0.0)


def test_hands_tell_which_way_they_turn() -> None:
    for turns, way in ((0.5, "clockwise"), (-0.5, "anticlockwise")):
        assert turn_screw(Screw.AZIMUTH, turns)(fake_world()).text.split()[-1] == way


# words about places in the sky


@pytest.mark.parametrize("hour_angle_h", [-4.0, -1.5, 1.5, 4.0])
def test_negative_hour_angles_lie_east_of_the_meridian(hour_angle_h: float) -> None:
    """By definition hour angle is counted westward (Explanatory Supplement, glossary)."""
    right, wrong = ("east", "west") if hour_angle_h < 0.0 else ("west", "east")
    for text in (_place(hour_angle_h), place_text(hour_angle_h), _title(hour_angle_h), _place_text(hour_angle_h)):
        only(text, f"h {right} of", wrong)


@pytest.mark.parametrize("lat_deg", [52.0, -34.0])
def test_where_to_begin_the_turn_is_told_by_its_hour_angle(lat_deg: float) -> None:
    choice = choose_sky(Site(lat_deg, 9.0))[0]
    text = sky_words(choice)
    first, adjust = choice.first.hour_angle_h, choice.adjust.hour_angle_h
    assert f"{abs(first):.1f} h {'east' if first < 0.0 else 'west'} of the meridian" in text
    if abs(adjust) > 0.3:
        assert text.endswith(f"{abs(adjust):.1f} h {'east' if adjust < 0.0 else 'west'} of it.")
    assert "to the west" in text and choice.last.hour_angle_h > first


# the first page


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
@pytest.mark.parametrize("declination_deg", [8.0, -8.0])
def test_a_compass_reads_less_than_true_where_magnetic_north_lies_east(
    southern: bool, declination_deg: float
) -> None:
    """True bearing = magnetic bearing + declination, east positive (common practice, no source)."""
    night = DirectionNight(Case(southern, "east", "high", "clockwise"))
    page = stand_page(night.state, Extras(0.0, magnetic=MagneticDeclination(declination_deg, 0.5, 18000.0)))
    true = 180.0 if southern else 0.0
    assert page.heading_true_deg == true
    assert page.heading_magnetic_deg == pytest.approx((true - declination_deg) % 360.0)
    assert page.heading_text == f"{(true - declination_deg) % 360.0:.0f}° magnetic"
    facts = {fact.label: fact for fact in page.facts}
    pole = facts[f"true {'south' if southern else 'north'}"]
    assert pole.value == f"{true:.0f}°"
    only(pole.words, "° east of true" if declination_deg > 0.0 else "° west of true", "magnetic south")
    without = stand_page(night.state, Extras(0.0))
    assert without.heading_text == f"{true:.0f}° true"


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
def test_the_mount_is_pointed_to_the_elevated_pole(southern: bool) -> None:
    night = DirectionNight(Case(southern, "east", "high", "clockwise"))
    night.take(BackAsked(night.now_s))
    assert night.state.stage is Stage.ORIENTATION
    only(night.view.instruction.sentence, "south" if southern else "north", "north" if southern else "south")


# on paper and for programs


@TABLE
def test_the_report_tells_the_side(case: Case) -> None:
    facts, night = facts_of(case), learned(case)
    page = report_html(facts, history_of([facts]), scale_for(facts.tolerance_rad * ARCMIN_PER_RAD))
    for words, side in ((EAST, case.east), (HEIGHT, case.height)):
        cells = re.findall(r"<td[^>]*>([^<]*too [^<]*)</td>", page)
        assert any(words[side] in cell for cell in cells)
        assert not any(words[OTHER[side]] in cell for cell in cells)
    result = plain_result(facts)
    assert (result["east_arcmin"] > 0.0) is (night.side == "east")
    assert (result["up_arcmin"] > 0.0) is (night.height == "high")
    rows = list(csv.DictReader(io.StringIO(measurements_csv(facts))))
    assert all((float(row["east_arcmin"]) > 0.0) is (case.east == "east") for row in rows)
    assert all((float(row["up_arcmin"]) > 0.0) is (case.height == "high") for row in rows)


@TABLE
def test_the_report_tells_what_a_clockwise_turn_does(case: Case) -> None:
    """Worth of the azimuth screw: which way the base goes round; of the altitude screw: up or down."""
    facts = facts_of(case)
    page = re.sub(r"\s+", " ", report_html(facts, history_of([facts]), scale_for(1.0)))
    worth = dict(re.findall(r"<td>(azimuth|altitude)</td><td>([^<]*a turn, ±[^<]*)</td>", page))
    assert worth["azimuth"].split(", ")[-1] == case.clockwise
    assert worth["altitude"].split(", ")[-1] == ("up" if case.clockwise == "clockwise" else "down")


@TABLE
def test_the_picture_in_the_report_has_east_where_its_word_stands(case: Case) -> None:
    facts = facts_of(case)
    picture = ET.fromstring(well(facts, scale_for(facts.tolerance_rad * ARCMIN_PER_RAD)))
    ns = "{http://www.w3.org/2000/svg}"
    words = {t.text: (float(t.get("x", "0")), float(t.get("y", "0"))) for t in picture.iter(f"{ns}text")}
    centre = 230.0
    assert (words["west"][0] > centre) is case.southern and (words["east"][0] > centre) is not case.southern
    assert words["too high"][1] < centre < words["too low"][1]
    ends = [line for line in picture.iter(f"{ns}polyline") if line.get("stroke-width") == "2.4"]
    points = [tuple(map(float, p.split(","))) for line in ends for p in line.get("points", "").split()]
    x, y = map(float, np.mean(points, axis=0))
    assert (x > centre) is ((case.east == "east") is not case.southern)
    assert (y < centre) is (case.height == "high")


@TABLE
def test_measure_prints_the_side_and_json_its_sign(case: Case) -> None:
    night = learned(case)
    estimate = measured(night)
    capture = SimpleNamespace(
        measured=[], sky_frames=[], target=TargetPole.TRUE, warnings=[], site=night.site, site_source="given"
    )
    facts: Any = measure.measured_facts(capture, estimate)  # type: ignore[arg-type]
    assert (facts["axis"]["east_arcmin"] > 0.0) is (case.east == "east")
    assert (facts["axis"]["up_arcmin"] > 0.0) is (case.height == "high")
    assert (facts["altitude_screw_arcmin"] > 0.0) is (case.height == "high")
    assert (facts["azimuth_screw_arcmin"] > 0.0) is (case.east == "east")
    text = "\n".join(measure.axis_sentences(capture, estimate))  # type: ignore[arg-type]
    only(text, EAST[case.east], EAST[OTHER[case.east]])
    only(text, HEIGHT[case.height], HEIGHT[OTHER[case.height]])
    assert re.search(r"east +([+-])", text)[1] == ("+" if case.east == "east" else "-")
    assert re.search(r"up +([+-])", text)[1] == ("+" if case.height == "high" else "-")


@TABLE
def test_follow_and_rehearse_tell_the_side(case: Case) -> None:
    night = learned(case)
    offset = night.state.offset
    assert offset is not None
    line: dict[str, object] = {
        "file": "f", "stage": "adjust", "east_arcmin": offset.east_rad * ARCMIN_PER_RAD,
        "up_arcmin": offset.up_rad * ARCMIN_PER_RAD, "sigma_east_arcmin": 0.02, "sigma_up_arcmin": 0.02,
        "tracking": "on", "warnings": [],
    }  # fmt: skip
    told = TrueOffset(offset.east_rad * ARCMIN_PER_RAD, offset.up_rad * ARCMIN_PER_RAD)
    for text in (follow.sentence(line), rehearse.offset_text(told), axis_text(offset)):
        only(text, EAST[case.east], EAST[OTHER[case.east]])
        only(text, HEIGHT[case.height], HEIGHT[OTHER[case.height]])


@pytest.mark.parametrize("clockwise", SENSES)
def test_the_story_of_a_night_tells_which_way_was_turned(clockwise: str) -> None:
    turns = 0.25 if clockwise == "clockwise" else -0.25
    assert deed_text(ScrewTurned(1.0, Screw.AZIMUTH, turns)).split()[-1] == clockwise
    assert Sense(clockwise) is (Sense.CLOCKWISE if turns > 0.0 else Sense.ANTICLOCKWISE)
    assert clock_face_text(turns).endswith(f"to {3 if turns > 0.0 else 9} on a clock face")


def test_locks_pull_one_way_and_one_stops_on_the_other() -> None:
    """The aim is where to stop: what the locks then do goes against it."""
    minute = math.radians(1.0 / 60.0)
    for east, up, pulls, stops in (
        (0.0, 2.0, "down", "above"),
        (0.0, -2.0, "up", "below"),
        (3.0, 0.0, "west", "east"),
        (-3.0, 0.0, "east", "west"),
    ):
        text = lock_words((east * minute, up * minute))
        before, after = text.split(": ")
        assert f" {pulls}" in before and after == f"stop that much {stops}."


def test_ahead_and_behind_on_and_off_east_and_west() -> None:
    assert "ahead of this computer" in clock_apart(ClocksDiffer(70.0, None, 0.0))
    assert "behind this computer" in clock_apart(ClocksDiffer(-70.0, None, 0.0))
    assert "switched on." in follow_words(TrackingSeemsSwitched(True))
    assert "switched off." in follow_words(TrackingSeemsSwitched(False))
    for look in (Look.EAST, Look.WEST):
        only(follow_words(WeakView(look, 1e-4, None)), look.name.lower(), OTHER[look.name.lower()])


def test_where_to_set_down_next_time_is_away_from_where_it_stood() -> None:
    """Two nights that began off to one side: the base goes to the other."""
    for case in CASES[:: len(CASES) // 4]:
        facts = facts_of(case)
        hint = starting_hint([facts, facts])
        only(hint, f"further {OTHER[case.east]}", f"further {case.east}")
        only(hint, "higher" if case.height == "low" else "lower", "higher" if case.height == "high" else "lower")


@pytest.mark.parametrize("case", CASES[:8:2], ids=lambda case: case.name)
def test_simulate_tells_the_side_of_its_truth(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    east, up = (8.0 if case.east == "east" else -8.0), (5.0 if case.height == "high" else -5.0)
    offset = {"east_arcmin": east, "up_arcmin": up, "total_arcmin": 9.4}
    truth = {"axis_after_capture": {"from_refracted_pole": offset}, "frames": []}
    monkeypatch.setattr(simulate, "write_sequence", lambda rig, folder, plan: truth)
    assert run(["simulate", str(tmp_path / "frames")]) == 0
    told = capsys.readouterr().out
    only(told, f"too far {case.east}", f"too far {OTHER[case.east]}")
    only(told, f"too {case.height}", f"too {OTHER[case.height]}")


def test_a_place_in_the_sky_is_told_as_one_finds_it() -> None:
    """Azimuth counts from north through east (definition); what is low and what is high is chosen."""
    found = [sky_direction(az, 28.0) for az in (0.0, 45.0, 92.0, 180.0, 268.0, 359.0)]
    sides = ("north", "north-east", "east", "south", "west", "north")
    assert found == [f"low in the {side}" for side in sides]
    assert sky_direction(135.0, 50.0) == "mid-height in the south-east"
    assert sky_direction(225.0, 70.0) == "high in the south-west" and sky_direction(10.0, 85.0) == "overhead"


@pytest.mark.parametrize("lat_deg", [52.0, -34.0])
def test_the_first_order_of_the_capture_is_one_point_first_then_hands_off(lat_deg: float) -> None:
    choice = choose_sky(Site(lat_deg, 9.0))[0]
    told = say(Advice(TurnBegins(Stage.CAPTURE, choice)))
    first = choice.first
    assert told.instruction.startswith("Point ") and told.instruction.endswith(", then hands off.")
    assert sky_direction(first.azimuth_deg, first.altitude_deg) in told.instruction
    assert len(told.instruction.split()) <= 8
    assert (
        f"Azimuth {first.azimuth_deg:.0f}°, {first.altitude_deg:.0f}° high" in told.why
        and "hands off" not in told.why.lower()
    )
    assert say(Advice(TurnBegins(Stage.PROOF, None))).instruction == "Hands off. Waiting for a frame."
