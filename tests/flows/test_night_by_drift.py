"""Nights in which the stars are let drift: as the proof of a turn, and by somebody who cannot turn the RA axis.

Invented nights of the simulator, whose truth is its own; the drift itself is checked in tests/unit/test_drift.py.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from functools import cache

import pytest

from night_kit import MOOR
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.drift.reading import rest_needed_s
from polewright.core.model import TargetPole
from polewright.core.night.advice import DriftUnsure, FieldWanted, PlaceWanted, Reason, TripodSettles
from polewright.core.night.drifting.places import free_side, position_for
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import DriftAsked, DriftMeasured, ScrewTurned
from polewright.core.night.states import NightPlan, Running, Stage, begun
from polewright.core.night.witness import told_offset
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.sky.places import standard_atmosphere
from polewright.practice.by_drift import ByDrift, Way
from polewright.practice.hand import Seat
from polewright.practice.rehearsal import Rehearsal, Score
from polewright.runtime.engine import NightEngine
from polewright.runtime.retrace import CheckedReplay
from polewright.services.night_log import NightLog, read_night
from polewright.services.paths import data_folder
from polewright.services.report import facts
from polewright.words.coach import say
from sky_solver import shared_solver
from star_list_nights import rehearse_with_star_lists

# by drift as the second witness and as the only one, on soil and with a tube of which nothing is known (chosen, with
# room: 92" and 107" are what an axis on the pole needs)
PROVABLE_ARCSEC, PROVABLE_ALONE_ARCSEC = 120.0, 200.0


@dataclass(frozen=True)
class DriftNight:
    score: Score
    log: NightLog
    engine: NightEngine
    said: tuple[Reason, ...]


@cache
def by_drift(scenario: str, seed: int, way: Way, tolerance_arcsec: float = PROVABLE_ARCSEC) -> DriftNight:
    folder = data_folder() / "by-drift" / f"{scenario}-{seed}-{way}-{tolerance_arcsec:.0f}-{os.getpid()}"
    nights: list[Rehearsal] = []
    said: list[Reason] = []

    def watch(night: Rehearsal, seat: Seat) -> None:
        nights.append(night)
        night.tolerance_rad = tolerance_arcsec / ARCSEC_PER_RAD
        ByDrift(seat, way)
        night.engine.listen(lambda engine: said.append(engine.advice.reason))

    score = rehearse_with_star_lists(scenario, seed, folder, shared_solver(), watch=watch)
    return DriftNight(score, read_night(folder), nights[0].engine, tuple(said))


def test_a_turn_is_proved_by_drift() -> None:
    night = by_drift("calm", 3, "proof")
    state = night.engine.state
    assert night.score.proved and night.score.true_inside and state.drift is not None
    reading = state.drift.reading
    assert reading is not None and reading.complete and len(reading.fields) >= 2
    truth = (night.score.truth.east_arcmin, night.score.truth.up_arcmin)
    for found, true, i in ((reading.east_rad, truth[0], 0), (reading.up_rad, truth[1], 1)):
        assert abs(found * ARCMIN_PER_RAD - true) < 3.0 * reading.covariance_rad2[i][i] ** 0.5 * ARCMIN_PER_RAD
    assert "drift of the stars confirms" in say(night.engine.advice).why
    told = told_offset(begun(state))
    assert told is not None and night.score.claimed_sigma_arcmin == told.sigma_rad * ARCMIN_PER_RAD, "one number"
    assert {TripodSettles, FieldWanted} <= {type(reason) for reason in night.said}


def test_a_small_tolerance_ends_plainly() -> None:
    """Half an arcminute is finer than a drift can prove with an unknown tube: it says so, and ends."""
    night = by_drift("calm", 3, "proof", 30.0)
    unsure = [reason for reason in night.said if isinstance(reason, DriftUnsure)]
    assert unsure and all(why.reach_rad is not None and why.reach_rad > why.tolerance_rad for why in unsure)
    state = night.engine.state
    assert isinstance(state, Running) and state.accepted and not state.proved and night.score.true_inside


def test_the_record_tells_it_to_the_report() -> None:
    night = by_drift("calm", 3, "proof")
    lines = [line for line in night.log.events if line.kind == facts.DRIFT_KIND]
    assert len(lines) == 1
    assert lines[0].data["comparison"]["agree"] is True and lines[0].data["unknown"] is None
    told = facts.gather(night.log, "calm").drift
    assert told[0]["east_rad"] == lines[0].data["east_rad"]


@pytest.mark.parametrize("way", ["proof"])
def test_a_replay_finds_every_number_again(way: Way) -> None:
    night = by_drift("calm", 3, way)
    replay = CheckedReplay()
    for line in night.log.events:
        replay.take(line)
    assert replay.differences == [] and replay.course.state == night.engine.state
    assert replay.course.advice == night.engine.advice


@pytest.mark.slow
def test_a_night_without_ever_turning_the_axis() -> None:
    """Capture by drift, the screws followed from it, proof by drift: the truth is inside what was asked for."""
    night = by_drift("calm", 5, "all", PROVABLE_ALONE_ARCSEC)
    assert night.score.proved and night.score.true_inside
    events = [event_from_plain(line.data) for line in night.log.events if line.kind == "event"]
    turns = [said for said in night.said if isinstance(said, PlaceWanted)]
    assert all(said.stage is Stage.CAPTURE and said.places < 2 for said in turns)
    assert any(isinstance(event, DriftAsked) for event in events)
    assert any(isinstance(event, ScrewTurned) for event in events)
    readings = [event.reading for event in events if isinstance(event, DriftMeasured)]
    first = next(reading for reading in readings if reading.complete)
    start = (night.score.start.east_arcmin, night.score.start.up_arcmin)
    for found, true, i in ((first.east_rad, start[0], 0), (first.up_rad, start[1], 1)):
        assert abs(found * ARCMIN_PER_RAD - true) < 3.0 * first.covariance_rad2[i][i] ** 0.5 * ARCMIN_PER_RAD
    assert night.engine.state.capture.by_drift and night.engine.state.stage is Stage.PROOF


def test_an_old_log_without_the_new_fields_is_read() -> None:
    asked = event_from_plain({"kind": "DriftAsked", "at_s": 3.0})
    assert asked == DriftAsked(3.0, "east", False)


def test_a_finer_tolerance_lets_the_tripod_stand_longer() -> None:
    rests = [rest_needed_s(arcsec / ARCSEC_PER_RAD) for arcsec in (10.0, 30.0, 60.0, 600.0)]
    assert rests == sorted(rests, reverse=True) and rests[-1] == 0.0 and rests[0] < 1800.0


def test_the_side_that_is_free_is_chosen() -> None:
    plan = NightPlan(MOOR, TargetPole.REFRACTED, 0.9137, 1.5e-4, air=standard_atmosphere(MOOR))
    assert free_side(plan) == "east"
    east = position_for(plan, "east", "altitude")
    assert east.hour_angle_h < 0.0 < position_for(plan, "west", "altitude").hour_angle_h
    wall = Obstacle(0.0, 90.0, 80.0)
    assert free_side(replace(plan, obstacles=(wall,))) == "west"
