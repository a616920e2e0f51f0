"""Small inner questions whose answer has a side or a size: each by hand, so that one turned round is noticed.

Truths come from geometry written down here, from the simulated mount (tests/direction_nights.py), and from the
boundaries of the constellations (Roman 1987, in astropy).
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from astropy.coordinates import SkyCoord, get_constellation

from coach_reasons import reading
from direction_nights import CASES, Case, learned
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis.lens import from_middle
from polewright.core.axis.lens_fit import _BEND_SIGMA, _CENTRE_SIGMA, _TILT_SIGMA, prior_of
from polewright.core.budget import Budget, Chance, Part
from polewright.core.drift.guarded import CONTRADICTS_CHI2, Guarded, contradicts
from polewright.core.drift.live import DriftResult, DriftSample, _held_against, _position_of
from polewright.core.drift.nudge import Nudge, nudge_in
from polewright.core.drift.rates import star_enu
from polewright.core.drift.reasons import PartsDisagree
from polewright.core.model import Camera, Site
from polewright.core.night.capture.actions import axis_near
from polewright.core.night.correction.coach import _mount_scatters
from polewright.core.night.correction.handling import _creep_arcmin, _crept, _own_motion, _with_path
from polewright.core.night.correction.outlook import _beyond, next_turn, outlooks
from polewright.core.night.drift_watch import DriftWatch, shifted_axis
from polewright.core.night.drifting.actions import _capture_of
from polewright.core.night.drifting.places import free_side
from polewright.core.night.elsewhere import _candidates, _declination_deg, _first_budget, _turn_h
from polewright.core.night.events import RigMended
from polewright.core.night.orientation.mending import mend_rig
from polewright.core.night.rest import Rest
from polewright.core.night.states import Handling, Running
from polewright.core.night.trainee import Answer, best_turn, left_after
from polewright.core.night.turning.blocked import HALF_WIDTH_DEG, _obstacle
from polewright.core.offset import Covariance, Offset
from polewright.core.plan.sky_choice import Obstacle
from polewright.core.plan.sky_objects import SKY_OBJECTS, sky_object
from polewright.core.screws.angles import Screw, ScrewAngles
from polewright.core.screws.memory import ScrewMemory, ScrewRate
from polewright.core.sky.weather import TEMPERATURE_C
from polewright.ui.intents import ReadOff
from polewright.ui.presenting import nights, replay
from polewright.ui.presenting.picture import WIDEST_PX, step_for
from polewright.words.numbers import sense_text, turns_text

ARCMIN = 1.0 / ARCMIN_PER_RAD
NORTH = CASES[0]
TABLE = pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)


def drift(east_rad: float, up_rad: float, covariance: Covariance) -> DriftResult:
    return DriftResult(east_rad, up_rad, covariance, (0.0, 0.8, 0.6), 1e-6, 1.0, 0.0, ())


def known(case: Case = NORTH) -> Running:
    """Both screws learned, the axis at rest."""
    return learned(case).state


# the drift


def test_parts_that_disagree_widen_the_whole_by_what_they_say() -> None:
    """Equal weights: the middle is the mean; chi-square by hand."""
    each = ((4e-10, 0.0), (0.0, 1e-10))
    whole = drift(3e-3, -1e-3, ((2e-10, 0.0), (0.0, 5e-11)))
    told = np.array([[2e-3, -2e-3], [2.5e-3, -1.5e-3], [3e-3, -1.9e-3]])
    found = _held_against(whole, [drift(east, up, each) for east, up in told.tolist()])
    apart, beside = told - told.mean(axis=0), np.array([3e-3, -1e-3]) - told.mean(axis=0)
    chi2 = float(np.sum(apart**2 / np.array([4e-10, 1e-10])))
    expected = np.diag([2e-10, 5e-11]) * chi2 / 4.0 + np.outer(beside, beside)
    np.testing.assert_allclose(found.covariance_rad2, expected, rtol=1e-9)
    assert found.warnings == (PartsDisagree(pytest.approx(math.hypot(1e-3, 1e-4))),)  # type: ignore[arg-type]


@pytest.mark.parametrize(("east", "up"), [(1.0, 0.0), (0.0, 1.0), (-0.6, 0.8), (0.8, 0.6)])
def test_a_drift_is_contradicted_beyond_the_limit_of_chance_either_way(east: float, up: float) -> None:
    """Chi-square of independent east and up is the sum of their squares in sigmas."""
    sigmas = np.array([3e-5, 7e-5])
    still = drift(2e-3, -1e-3, ((0.5 * sigmas[0] ** 2, 0.0), (0.0, 0.5 * sigmas[1] ** 2)))
    for chi, says in ((0.99, False), (1.01, True)):
        east_rad, up_rad = (chi * math.sqrt(CONTRADICTS_CHI2) * sigmas * np.array([east, up])).tolist()
        told = Guarded(2e-3 + east_rad, -1e-3 + up_rad, still.covariance_rad2)
        assert contradicts(told, still, still.covariance_rad2) is says


@pytest.mark.parametrize("site", [Site(52.0, 3.0), Site(-34.0, 18.0)])
def test_a_field_carried_by_the_sky_is_the_same_field(site: Site) -> None:
    began = star_enu(site, -0.4, 0.3)
    later = star_enu(site, -0.4 + 1200.0 * SIDEREAL_RATE_RAD_S, 0.3)
    sample = DriftSample(0.0, (float(began[0]), float(began[1]), float(began[2])), 1e-6, 2)
    assert _position_of((sample,), site, 1200.0, later) == 2
    assert _position_of((sample,), site, 1200.0, began) == 3


def test_a_nudge_that_is_gone_in_the_last_frames_is_taken_back() -> None:
    at_s = np.arange(0.0, 400.0, 5.0)
    dec = np.where((at_s > 150.0) & (at_s < 381.0), 60.0, 0.0) / ARCSEC_PER_RAD
    told = nudge_in(at_s, dec)
    assert told is not None and told.what is Nudge.TAKEN_BACK


def test_a_capture_by_drift_has_the_axis_of_the_drift() -> None:
    state = known()
    axis = _capture_of(reading(), DriftWatch(frame=state.last_frame), state).axis
    told = reading()
    assert axis is not None and told.east_rad != told.up_rad
    assert (axis.east_rad, axis.up_rad) == (axis.companion_east_rad, axis.companion_up_rad)
    assert (axis.east_rad, axis.up_rad) == (told.east_rad, told.up_rad)


def test_the_axis_is_lower_against_a_pole_that_stands_higher() -> None:
    axis = known().capture.axis
    moved = shifted_axis(axis, 0.25 * ARCMIN)
    assert axis is not None and moved is not None
    assert moved.up_rad - axis.up_rad == pytest.approx(-0.25 * ARCMIN)
    assert moved.companion_up_rad - axis.companion_up_rad == pytest.approx(-0.25 * ARCMIN)
    assert (moved.east_rad, moved.companion_east_rad) == (axis.east_rad, axis.companion_east_rad)


@pytest.mark.parametrize(("obstacles", "side"), [((), "east"), (("east",), "west"), (("west",), "east")])
@pytest.mark.parametrize("case", [CASES[0], CASES[8]], ids=["north", "south"])
def test_the_drift_is_watched_on_the_side_that_is_free(case: Case, obstacles: tuple[str, ...], side: str) -> None:
    houses = {"east": Obstacle(0.0, 180.0), "west": Obstacle(180.0, 360.0)}
    plan = replace(known(case).plan, obstacles=tuple(houses[name] for name in obstacles))
    assert free_side(plan) == side
    assert free_side(replace(plan, obstacles=tuple(houses.values()))) == "east"


# the correction


@pytest.mark.parametrize(("east", "up", "near"), [(0.9, 0.0, True), (1.1, 0.0, False), (0.0, 1.1, False)])
def test_the_axis_is_near_the_pole_by_both_of_its_parts(east: float, up: float, near: bool) -> None:
    state = known()
    assert state.capture.axis is not None
    limit = state.plan.fine_limit_rad
    axis = replace(state.capture.axis, east_rad=east * limit, up_rad=-up * limit)
    assert axis_near(replace(state, capture=replace(state.capture, axis=axis))) is near


def test_before_anything_rests_the_axis_is_that_of_the_capture() -> None:
    state = replace(known(), rest=Rest())
    axis, offset = state.capture.axis, state.offset
    assert axis is not None and offset is not None and axis.east_rad != axis.up_rad
    assert (offset.east_rad, offset.up_rad) == (axis.east_rad, axis.up_rad)


def test_what_still_creeps_is_a_share_of_what_that_screw_has_moved() -> None:
    state = known()
    state = replace(state, handling=replace(state.handling, closed_arcmin=(70.0, 20.0), closed_s=state.now_s))
    assert _creep_arcmin(state, Screw.AZIMUTH) == pytest.approx(3.5 * _creep_arcmin(state, Screw.ALTITUDE))


@pytest.mark.parametrize(("screw", "closed"), [(Screw.AZIMUTH, (200.0, 0.0)), (Screw.ALTITUDE, (0.0, 200.0))])
def test_only_what_the_last_screw_moved_may_have_crept_after_it(screw: Screw, closed: tuple[float, float]) -> None:
    state = known()
    handling = Handling(closed_arcmin=closed, closed_s=state.now_s)
    state = replace(state, plan=replace(state.plan, walking=True), interval_s=1.5, handling=handling)
    assert state.walking and state.offset is not None
    east = replace(state.offset, east_rad=state.offset.east_rad + 1.5 * ARCMIN)
    up = replace(state.offset, up_rad=state.offset.up_rad - 1.5 * ARCMIN)
    assert _crept(state, state.offset, east) is (screw is Screw.AZIMUTH)
    assert _crept(state, state.offset, up) is (screw is Screw.ALTITUDE)


@pytest.mark.parametrize(("screw", "share"), [(Screw.AZIMUTH, math.cos(math.radians(50.0))), (Screw.ALTITUDE, 1.0)])
def test_a_way_along_the_horizon_counts_as_long_as_it_is_on_the_sky(screw: Screw, share: float) -> None:
    state, here = known(), ScrewAngles(0.0, 0.0)
    for much, own in ((0.98, True), (1.02, False)):
        other = much * 10.0 * share
        there = (
            ScrewAngles(0.0, other)
            if screw is Screw.AZIMUTH
            else ScrewAngles(other / math.cos(math.radians(50.0)), 0.0)
        )
        assert _own_motion(state, screw, here, there, 10.0) is own


def test_a_path_is_turned_from_east_toward_up() -> None:
    here, far = Offset(0.0, 0.0, ((1e-12, 0.0), (0.0, 1e-12))), 30.0 * ARCMIN
    for screw in Screw:
        for turned in (0.2, -0.3):
            angle = turned if screw is Screw.AZIMUTH else turned + 0.5 * math.pi
            there = replace(here, east_rad=far * math.cos(angle), up_rad=far * math.sin(angle))
            (path,) = _with_path(Handling(), screw, here, there, 1e-6).paths
            assert path.azimuth is (screw is Screw.AZIMUTH) and path.turned_rad == pytest.approx(turned)


def test_at_the_pole_only_the_altitude_screw_is_asked_for() -> None:
    state = known()
    both = outlooks(state)
    assert both is not None and [o.screw for o in _beyond(state, both, 0.0)] == list(Screw)
    at_pole = replace(state, plan=replace(state.plan, pole_altitude_rad=math.radians(89.99)))
    assert [o.screw for o in _beyond(at_pole, both, 0.0)] == [Screw.ALTITUDE]


@pytest.mark.parametrize(("stars", "drive", "scatters"), [(0.1, 3.0, True), (3.0, 0.1, False), (0.01, 0.02, False)])
def test_a_mount_scatters_where_its_shaking_outweighs_the_stars_and_the_plan(
    stars: float, drive: float, scatters: bool
) -> None:
    """In tolerances of the plan."""
    state = known()
    assert state.capture.axis is not None
    tolerance = state.plan.tolerance_rad

    def chance(part: Part, size: float) -> Chance:
        return Chance(part, ((0.5 * (size * tolerance) ** 2, 0.0), (0.0, 0.5 * (size * tolerance) ** 2)))

    axis = replace(state.capture.axis, budget=Budget((chance(Part.STARS, stars), chance(Part.DRIVE, drive))))
    state = replace(state, capture=replace(state.capture, axis=axis))
    assert _mount_scatters(state, tolerance) is scatters


def test_another_rig_keeps_what_each_screw_did_tonight() -> None:
    state = known()
    named = RigMended(state.now_s, "other", azimuth=ScrewMemory(seen_odds=1.0), altitude=ScrewMemory(seen_odds=2.0))
    after, _ = mend_rig(state, named)
    assert (after.azimuth.seen_odds, after.altitude.seen_odds) == (1.0, 2.0)
    assert state.azimuth.moves != state.altitude.moves
    assert (after.azimuth.moves, after.altitude.moves) == (state.azimuth.moves, state.altitude.moves)


@pytest.mark.parametrize(
    ("azimuth", "screw"), [(0.25, Screw.AZIMUTH), (-0.25, Screw.AZIMUTH), (0.15, Screw.ALTITUDE)]
)
def test_altitude_goes_first_where_azimuth_is_a_small_part_of_what_is_left(azimuth: float, screw: Screw) -> None:
    """A fifth of it (chosen); both far from the pole, neither screw in hand."""
    state = known()
    assert state.capture.axis is not None
    axis = replace(state.capture.axis, east_rad=azimuth * 80.0 * ARCMIN, up_rad=80.0 * ARCMIN)
    state = replace(state, rest=Rest(), handling=Handling(), capture=replace(state.capture, axis=axis))
    found = next_turn(state)
    assert found is not None and found.screw is screw


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_mirrored_picture_is_turned_round_about_its_middle(mirrored: bool) -> None:
    found = from_middle(Camera(1280, 960, 4.0, mirrored), np.array([0.0]), np.array([0.0]))
    assert found.tolist() == [[639.5 if mirrored else -639.5, -479.5]]


def test_nights_of_frost_and_of_the_desert_are_no_mistakes_of_typing() -> None:
    """Record temperatures of inhabited places lie near -68 and +57 degrees Celsius (from memory)."""
    assert TEMPERATURE_C[0] <= -55 < 45 <= TEMPERATURE_C[1]


# practising


@TABLE
def test_the_best_turn_leads_home_and_leaves_the_other_part(case: Case) -> None:
    night = learned(case)
    offset, state = night.state.offset, night.state
    assert offset is not None
    for screw, other in ((Screw.AZIMUTH, offset.up_rad), (Screw.ALTITUDE, offset.east_rad)):
        rate = state.rate(screw)
        assert rate is not None
        turns = best_turn(state, screw, rate)
        assert (turns > 0.0) is (night.way_home(screw) == "clockwise")
        left = left_after(state, offset, Answer(screw, turns), rate)
        assert left == pytest.approx(abs(other), rel=0.04, abs=1.0 * ARCMIN)
        assert left_after(state, offset, Answer(screw, -turns), rate) > offset.total_rad


@TABLE
def test_a_rate_that_changes_with_the_angle_is_taken_half_way_along_its_own_angle(case: Case) -> None:
    """On the sky a minute of arc of bearing is cos(altitude) of one; both parts are small."""
    state = known(case)
    offset, rate = state.offset, ScrewRate(60.0, 1.0, 0.0, 0.01, change_per_degree=0.8)
    assert offset is not None
    angles, share = state.angles(offset), math.cos(math.radians(50.0))
    bearing, height = angles.bearing_arcmin, angles.height_arcmin
    for screw, moved in ((Screw.AZIMUTH, 6.0 + 0.04 * bearing), (Screw.ALTITUDE, 6.0 + 0.04 * height)):
        by_azimuth = screw is Screw.AZIMUTH
        left = math.hypot((bearing + moved * by_azimuth) * share, height + moved * (not by_azimuth))
        found = left_after(state, offset, Answer(screw, 0.1), rate) * ARCMIN_PER_RAD
        assert found == pytest.approx(left, abs=1.0)


def test_the_answers_on_a_recorded_night_say_what_they_turn() -> None:
    for answer in replay._answers():
        turn: Any = answer.intent
        told = answer.label.lower()
        assert told.startswith(turn.screw.value)
        assert sense_text(turn.turns)[:4] in told or ("↻" if turn.turns > 0.0 else "↺") in told, told
        assert turns_text(abs(turn.turns)) in told or "1/4" in told


# the sky


@pytest.mark.parametrize("case", [CASES[0], CASES[8]], ids=["north", "south"])
def test_a_second_sky_is_looked_for_on_all_sides(case: Case) -> None:
    state = known(case)
    first, frame = _first_budget(state), state.last_frame
    assert first is not None and frame is not None
    found = list(_candidates(state, first, frame))
    here = _declination_deg(state, frame)
    assert {math.copysign(1.0, sky.hour_angle_h) for sky in found} == {1.0, -1.0}
    moved = {float(np.sign(round(abs(sky.declination_deg) - here))) for sky in found}
    assert moved == {-1.0, 0.0, 1.0}


@pytest.mark.parametrize("hour", [-1.0, 1.0])
def test_a_second_sky_is_not_looked_for_behind_a_house(hour: float) -> None:
    state = known()
    east, west = Obstacle(5.0, 175.0), Obstacle(185.0, 355.0)
    for house in (east, west):
        plan = replace(state.plan, obstacles=(house,))
        free = _turn_h(replace(state, plan=plan), 30.0, hour) is not None
        assert free is ((house is west) is (hour < 0.0))
    low = replace(state.plan, obstacles=(Obstacle(5.0, 355.0, 10.0),))
    assert _turn_h(replace(state, plan=low), 30.0, hour) is not None


@pytest.mark.parametrize("altitude", [0.0, 30.0, 60.0])
def test_what_hides_a_place_is_as_wide_on_the_sky_everywhere(altitude: float) -> None:
    house = _obstacle(np.array([altitude, 90.0]), np.array([20.0, 270.0]))
    half = 0.5 * (house.to_azimuth_deg - house.from_azimuth_deg)
    assert half * math.cos(math.radians(altitude)) == pytest.approx(HALF_WIDTH_DEG)


def test_every_listed_object_lies_in_the_constellation_that_it_is_said_to_lie_in() -> None:
    for name, (told, _) in SKY_OBJECTS.items():
        place = sky_object(name)
        if " in " in told:
            found = str(get_constellation(SkyCoord(place.ra_deg, place.dec_deg, unit="deg")))
            assert told.endswith(found), (name, told, found)


def test_what_is_known_of_a_lens_before_is_the_inverse_of_its_squared_sigmas() -> None:
    centre = _CENTRE_SIGMA * 1280.0 / 48000.0
    squares = np.square([*_BEND_SIGMA, centre, centre, _TILT_SIGMA, _TILT_SIGMA])
    np.testing.assert_allclose(prior_of(Camera(1280, 960, 4.0), 48000.0), [0.0, *(1.0 / squares)])


# pages


@pytest.mark.parametrize(("width", "step"), [(1, 1), (WIDEST_PX, 1), (WIDEST_PX + 1, 2), (2 * WIDEST_PX, 2)])
def test_a_picture_is_shrunk_until_it_fits(width: int, step: int) -> None:
    assert step_for(width) == step and width <= step * WIDEST_PX


def test_a_kept_night_is_drawn_where_its_axis_was() -> None:
    last = SimpleNamespace(east_rad=2.0 * ARCMIN, up_rad=-3.0 * ARCMIN)
    line: Any = SimpleNamespace(problem="", last=last, tolerance_rad=ARCMIN, trail=(), site=Site(-33.0, 18.0))
    well = nights._well(line)
    assert well.axis is not None and well.southern
    assert (well.axis.east_arcmin, well.axis.up_arcmin) == pytest.approx((2.0, -3.0))


def test_the_keys_of_less_and_more_step_down_and_up() -> None:
    keys = {action.key: action.intent for action in learned(NORTH).view.actions}
    assert (keys["1"], keys["2"]) == (ReadOff(-1), ReadOff(1))
    now = known().plan.tolerance_rad
    smaller, larger = keys["["], keys["]"]
    assert smaller.tolerance_rad < now < larger.tolerance_rad
