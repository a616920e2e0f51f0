"""What the measuring parts give for worked cases, to every digit: recorded once, held by tests/golden.

No outside source: whether the numbers are right is asked elsewhere (published tables, ERFA, scipy, the simulated
mount). Here nothing may move unnoticed. Each case is a function without arguments; its noise has a fixed seed.
"""

from __future__ import annotations

import dataclasses
import json
import lzma
import math
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from axis_sky import Rig
from drift_nights import AIR, Nudging, guided, guided_mount, mount_off, watched
from paper_night import PaperScrew
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD
from polewright.core.axis.accuracy import frame_noise, predicted_sigma_rad, recommended_rotation_rad
from polewright.core.axis.estimate import estimate_axis, low_pole_doubt_rad
from polewright.core.axis.following import follow, start_following, start_following_axis
from polewright.core.axis.following_start import KnownAxis
from polewright.core.axis.mishaps import explain, places_of, possible_mishaps, repeated_slips
from polewright.core.axis.screw_offsets import screw_offsets
from polewright.core.axis.shared_lens import with_shared_lens
from polewright.core.axis.sky_frame import sky_frame
from polewright.core.axis.viewing import best_position, camera_positions, weakness
from polewright.core.drift.compare import compare_with_turn
from polewright.core.drift.guarded import guarded
from polewright.core.drift.live import DriftProof, DriftResult, guiding_refusal, largest_step, measure
from polewright.core.drift.nudge import nudge_in
from polewright.core.drift.plan import best_positions, predicted_seconds, predicted_sigmas_rad
from polewright.core.drift.rates import drift_rates, refraction_bias_rad, star_enu
from polewright.core.drift.reading import place_rad, read_drift, rest_needed_s, tells, wanted_rad
from polewright.core.drift.red_noise import slope_growth
from polewright.core.drift.remaining import cadence_s, remaining
from polewright.core.drift.shift_tracking import FieldShift
from polewright.core.drift.stillness import field_motion, wander_rad_s
from polewright.core.drift.unsolved import KnownCamera, boresight_enu
from polewright.core.flexure import Flexure
from polewright.core.model import Atmosphere, AxisEstimate, Site, SkyFrame, TargetPole, Utc
from polewright.core.plan.imaging_plan import ImagingPlan, drift_limit_rad, elongation, rotation_limit_rad
from polewright.core.plan.sky_choice import Obstacle, choose_sky
from polewright.core.plan.sky_objects import SKY_OBJECTS
from polewright.core.plan.study import study
from polewright.core.plan.tolerance import TargetTooLow, longest_exposure_s, needed_accuracy
from polewright.core.plan.tonight import Planned, TonightsPlan, usual_plan
from polewright.core.screws.angles import Screw, ScrewAngles, offset_from_angles, screw_angles
from polewright.core.screws.doable import doable_turns, readable_turns, stepped_turns
from polewright.core.screws.learning import engaged, learn, sense_for_next_night
from polewright.core.screws.lesson import lesson_over, lesson_turns
from polewright.core.screws.lock_memory import LockMemory
from polewright.core.screws.memory import ScrewMemory, ScrewMove, ScrewPrior
from polewright.core.screws.plan import plan_turn
from polewright.core.screws.sky_turn import ScrewPath, screw_path, sky_turn_rad, with_path
from polewright.core.screws.walk import Walk, as_told, cue, lead_after, walked
from polewright.core.sky import timescales
from polewright.core.sky.cells import cell_of, directions_in_cells, face_directions
from polewright.core.sky.places import (
    default_target,
    horizontal_to_enu,
    observed_enu,
    offset_from_pole,
    pole_altitude_rad,
    pole_enu,
)
from polewright.core.sky.refraction import bending_rad, lift_rad, low_air_rad, refraction_constants
from polewright.core.sky.sun import sun_altitude_rad, sun_position_rad
from polewright.core.sky.weather import Weather, air_at, usual_temperature_c
from polewright.core.vigil.change_search import Quiet, find_change, scatter
from polewright.core.vigil.holding import runs_free
from polewright.core.vigil.watch import Vigil, watch
from sky_solver import shared_catalogue
from vigil_nights import Run, declination_axis, frames, setup_of, slow, still, sudden
from wide_lenses import SITE as WIDE_SITE
from wide_lenses import Bending, capture, wide_frames

FILE = Path(__file__).parent / "data" / "kept_numbers.json.xz"
RELATIVE = 1e-6  # other libraries round otherwise
ABSOLUTE = 1e-18  # rad^2, (0.0002")^2: what nearly cancels in a covariance; another processor made 4e-19 of it
SITES = (Site(52.3, 3.0, 84.0), Site(-33.9, 18.4, 10.0), Site(5.0, 100.0), Site(69.0, 20.0, 400.0))
AIRS = (Atmosphere(1010.0, 10.0), Atmosphere(700.0, -15.0), Atmosphere(0.0))
NIGHT = Utc(2461042.5, 0.35)
Case = Callable[[], object]


def kept() -> dict[str, Any]:
    """Case by case, what was recorded."""
    told: dict[str, Any] = json.loads(lzma.decompress(FILE.read_bytes()))
    return told


def keep_numbers() -> None:
    """Record what the cases give now: after a number has been changed on purpose."""
    text = json.dumps({name: plain(case()) for name, case in CASES.items()}, separators=(",", ":"))
    FILE.write_bytes(lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME))


def plain(value: object) -> Any:
    """Numbers, flags and texts of a value as JSON holds them; numbers to ten digits."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
        return {"": type(value).__name__, **{name: plain(item) for name, item in fields.items()}}
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple | Iterator):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.10g}") if math.isfinite(value) else repr(value)
    return value if isinstance(value, str | int | bool | None) else type(value).__name__


# the sky


def _refraction() -> Iterator[object]:
    altitude = np.radians([-1.0, -0.3, 0.0, 0.4, 1.5, 4.0, 9.0, 14.0, 16.0, 25.0, 45.0, 70.0, 89.0, 90.0])
    for air in AIRS:
        constants = refraction_constants(air)
        yield from (lift_rad(altitude, air), low_air_rad(altitude, air), bending_rad(altitude, constants))


def _instants() -> Iterator[object]:
    for text in (
        "1972-06-30T23:59:60Z",
        "2026-03-01T20:15:30.25+01:30",
        "2016-12-31 00:00",
        "2041-11-09T05:07:09-0545",
    ):
        utc = timescales.parse_iso(text).utc
        yield utc, timescales.mjd(utc), timescales.unix_seconds(utc), timescales.julian_epoch_year(utc)
        yield timescales.greenwich_mean_sidereal_rad(utc), timescales.iso_text(utc), timescales.iso_text(utc, 0)
        yield timescales.utc_from_tai(utc), timescales.utc_from_tt(utc)
    for seconds in (-86400.5, -0.25, 0.0, 86399.75, 1.7e9):
        yield timescales.utc_from_unix(seconds), timescales.utc_from_mjd(40587.0 + seconds / 86400.0)


def _places() -> Iterator[object]:
    stars = horizontal_to_enu(np.radians([10.0, 130.0, 250.0]), np.radians([5.0, 40.0, 75.0]))
    for site in SITES:
        yield default_target(site), sun_altitude_rad(NIGHT, site), usual_temperature_c(site, NIGHT)
        yield air_at(site, Weather()), air_at(site, Weather(-5.0), NIGHT), air_at(site, Weather(None, 930.0), NIGHT)
        yield observed_enu(stars, NIGHT, site, AIRS[0])
        for target in TargetPole:
            pole = pole_enu(site, AIRS[0], target)
            yield pole, pole_altitude_rad(site, AIRS[0], target)
            yield offset_from_pole(np.array(pole) + np.array([0.01, 0.002, -0.004]), pole, site)
    yield sun_position_rad(NIGHT)


def _cells() -> Iterator[object]:
    rng = np.random.default_rng(4)
    v = rng.normal(size=(24, 3))
    cell, fraction = cell_of(v / np.linalg.norm(v, axis=1, keepdims=True))
    yield cell, fraction
    yield [face_directions(face, np.array([-0.7, 0.1]), np.array([0.3, 0.9])) for face in range(6)]
    yield directions_in_cells(1234, np.array([1, 0, 2]), np.array([[0.2, 0.5, 0.9], [0.7, 0.5, 0.1]]))


# the plan

PLAN = ImagingPlan(52.3, 40.0, 800.0, 4.0, 6000, 4000, 300.0)
PLANS = (
    PLAN,
    dataclasses.replace(PLAN, guided=False, focal_length_mm=135.0, sub_s=30.0),
    dataclasses.replace(PLAN, latitude_deg=-33.9, declination_deg=-75.0, hour_angle_from_h=1.0, hour_angle_to_h=7.0),
    dataclasses.replace(PLAN, declination_deg=5.0, hour_angle_from_h=-4.5, hour_angle_to_h=-2.0, sub_s=900.0),
)


def _sky_choice() -> Iterator[object]:
    house = (Obstacle(120.0, 200.0, 55.0), Obstacle(330.0, 20.0, 50.0))
    for site in SITES:
        for obstacles, lowest in (((), 25.0), (house, 25.0), (house, 40.0), ((Obstacle(30.0, 330.0),), 30.0)):
            yield choose_sky(site, obstacles, lowest)


def _tolerance() -> Iterator[object]:
    for plan in PLANS:
        needs = needed_accuracy(plan)
        yield needs, rotation_limit_rad(plan), drift_limit_rad(plan, 60.0), elongation(plan, 1.5)
        yield longest_exposure_s(plan, TargetPole.TRUE, 2.0 / ARCMIN_PER_RAD), plan.mid_hour_angles_rad()
        if not isinstance(needs, TargetTooLow):
            yield [needs.about(target) for target in TargetPole]
    yield needed_accuracy(dataclasses.replace(PLAN, declination_deg=-28.0, hour_angle_to_h=3.0))
    yield needed_accuracy(dataclasses.replace(PLAN, declination_deg=-75.0))
    yield needed_accuracy(PLAN, TargetPole.TRUE, 40.0 / ARCSEC_PER_RAD, 60.0 / ARCSEC_PER_RAD)


def _tonight() -> Iterator[object]:
    for site in SITES:
        yield usual_plan(site), usual_plan(site).at(site)
    for plan in (TonightsPlan(40.0, binning=3, hours=3.5), TonightsPlan(40.0, first_hour_angle_h=-5.0, guided=False)):
        needs = needed_accuracy(plan.at(SITES[0]))
        assert not isinstance(needs, TargetTooLow)
        planned = Planned(plan, needs)
        for target in TargetPole:
            yield planned.tolerance_rad(target), planned.most_blur_px(target, 1e-3)
            yield planned.blur_px(SITES[0], target, 1e-3, -2e-3)
    yield {key: (name, place) for key, (name, place) in SKY_OBJECTS.items()}


def _study() -> Iterator[object]:
    found = study(dataclasses.replace(PLAN, hour_angle_to_h=0.0), TargetPole.BETWEEN)
    yield found
    for error in (0.0, 1e-4, 1e-3, 0.1):
        yield found.blur_px(error), found.blur_px(error, 60.0), found.longest_s(error)
        yield found.along_time(error), found.along_declination(error)


# the screws


def _sizes() -> Iterator[object]:
    for turns in (*np.geomspace(1e-3, 40.0, 150).tolist(), 1.0, 0.125, 12.0):
        yield doable_turns(turns), readable_turns(-turns)
    yield [stepped_turns(turns, by) for turns in (-3.0, 0.002, 0.34, 11.9, 30.0) for by in (-2, -1, 0, 1, 3)]


def _played(screw: PaperScrew, turns: list[float], hand: float, bends: bool, **more: Any) -> ScrewMemory:
    rng = np.random.default_rng(7)
    memory, here = ScrewMemory(bends=bends, **more), 90.0
    for number, said in enumerate(turns):
        there = here + screw.turn(said * (1.0 + rng.normal(0.0, hand)), here)
        noise = rng.normal(0.0, 0.05, 2)
        told = {"sure": number % 4 != 1, "read_off": number % 3 == 2, "guessed": number % 7 == 5}
        memory = memory.with_move(ScrewMove(said, here + noise[0], there + noise[1], 0.07, **told))
        here = there
    return memory


_TURNS = [1.0, 0.02, -1.0, -0.5, 1.5, 0.01, 0.5, -2.0, 1.0, -0.05, -1.0, 0.75]


def _memories() -> Iterator[ScrewMemory]:
    prior = ScrewPrior(-60.0, 3.0, 0.15, 0.02, 0.002, 0.004, 0.12, 6.0, 3)
    for rate, slack, bends in ((-62.0, 1.0, False), (38.0, 0.0, True), (95.0, 0.4, False)):
        for count in (1, 2, 5, 12):
            for known in (None, prior):
                screw = PaperScrew(rate, 0.18, slack=slack)
                yield _played(screw, _TURNS[:count], 0.1, bends, prior=known, seen_odds=0.0 if known else 1.5)
    yield ScrewMemory(seen_odds=-2.0)
    yield _played(PaperScrew(-62.0, 0.18, slack=1.0), [-t if i == 3 else t for i, t in enumerate(_TURNS)], 0.5, True)


def _learning() -> Iterator[object]:
    for memory in _memories():
        rate = learn(memory)
        yield rate, engaged(memory), sense_for_next_night(memory), memory.for_next_night(rate, 0.7)
        yield lesson_over(memory, rate, 3), lesson_over(memory, rate, 8)
        if rate is None:
            continue
        yield rate.at(300.0), rate.at(-900.0), rate.lost_turns(1.0), rate.lost_turns(-1.0)
        yield [lesson_turns(memory, rate, made, at) for made in (0, 1, 3) for at in (-150.0, 20.0, 180.0)]


def _turns() -> Iterator[object]:
    rates = [None, *(learn(memory) for memory in _memories())]
    for rate in rates[::2]:
        for at in (-700.0, -40.0, -3.0, -0.4, 0.05, 1.0, 12.0, 300.0):
            yield (
                plan_turn(rate, at, 0.3),
                plan_turn(rate, at, 0.3, lift_last=True),
                plan_turn(rate, at, 2.0, False, 0.3),
            )
            yield plan_turn(rate, at, 0.1, True, -1.1)


def _walks() -> Iterator[object]:
    """Axes that go, rest, overshoot, turn back and go away, with a slow and a quick hand."""
    ways = (
        (20.0, 15.0, 9.0, 4.0, 1.0, 0.2, 0.2),
        (-20.0, -26.0, -31.0, -24.0, -9.0, 6.0, 6.0, 1.0),
        (8.0, 8.05, 8.1, 3.0, -4.0, -1.0),
    )
    for way in ways:
        for known in (True, False):
            walk = Walk(Screw.ALTITUDE, 1.0, known, 0.3, way[0], way[0], 0.1, 0.0, 1.5, creep_arcmin=0.2)
            lead_s = 0.7
            for number, here in enumerate(way[1:], 1):
                walk = walked(walk, here, 0.1, 0.05, 1.5 * number + 0.2 * (number % 3))
                now_s = walk.at_s + 0.6
                yield walk, cue(walk, now_s, lead_s, number % 2 == 0), cue(walk, now_s + 9.0, lead_s, False)
                walk = as_told(walk, now_s, lead_s)
                lead_s = lead_after(lead_s, walk)
                yield lead_s, walk.predicted_arcmin(now_s), walk.arrived, walk.crossed, walk.moving(now_s + 3.0)


def _screw_geometry() -> Iterator[object]:
    covariance = ((4e-10, 1e-10), (1e-10, 9e-10))
    for southern in (False, True):
        for altitude in (0.0, 0.6, 1.2, 1.56):
            for east, up in ((0.0, 0.0), (0.02, -0.05), (-0.3, 0.1)):
                angles = screw_angles(east, up, covariance, altitude, southern)
                yield angles, offset_from_angles(angles, altitude, southern)
    locks = LockMemory()
    for night in ((3.0, -1.0), (3.4, -0.2), (2.9, 0.5), (8.0, -0.9)):
        locks = locks.with_shift(ScrewAngles(1.0, 2.0), ScrewAngles(1.0 + night[0], 2.0 + night[1]))
        locks = locks.for_next_night()
        yield locks, locks.usual, locks.known_to(2e-4), locks.aim_rad(0.9, False), locks.aim_rad(0.9, True)
    paths: tuple[ScrewPath, ...] = ()
    for azimuth, east, up in ((True, 0.02, 0.006), (False, -0.005, 0.02), (True, 1e-5, 0.0), (False, 0.004, -0.015)):
        path = screw_path(azimuth, east, up, 1e-5)
        paths = paths if path is None else with_path(paths, path)
        yield path, sky_turn_rad(paths)


# the axis

_FLEXURE = Flexure(12.0 / ARCSEC_PER_RAD, 5.0 / ARCSEC_PER_RAD, 1e-5, 4e-5, 4, 0.3)


def _captured(rig: Rig, turns: tuple[float, ...], seed: int = 5) -> list[SkyFrame]:
    rng = np.random.default_rng(seed)
    return [sky_frame(name, utc, rig.site, rig.air, s, 2.0) for name, utc, s in rig.capture(turns, rng)]


def _rigs() -> tuple[Rig, ...]:
    return (
        Rig(SITES[0], 22.0, -13.0, stars=12),
        Rig(SITES[1], -160.0, 45.0, 65.0, -50.0, 200.0, tracking=False, stars=12),
        Rig(SITES[2], 4.0, 3.0, 80.0, 20.0, stars=8),
    )


def _axes() -> Iterator[object]:
    for rig in _rigs():
        for turns in ((0.0, 35.0), (0.0, 30.0, 62.0), (0.0, 0.2, 25.0, 25.3, 60.0)):
            placed = _captured(rig, turns)
            for flexure in (None, Flexure(), _FLEXURE):
                found = estimate_axis(placed, rig.site, rig.air, TargetPole.REFRACTED, flexure)
                yield found, screw_offsets(found) if isinstance(found, AxisEstimate) else None
        yield low_pole_doubt_rad(rig.site, TargetPole.REFRACTED, rig.air)
        yield frame_noise(placed), predicted_sigma_rad(placed, 0.7), recommended_rotation_rad(placed)
        yield recommended_rotation_rad(placed[:2], 1e-4)


def _mishaps() -> Iterator[object]:
    """A slipped clutch, a kicked tripod, a wrong time: one of four frames, or all after it."""
    rig = _rigs()[0]
    for turned, seconds, after in ((0.0, 0.0, True), (2e-3, 0.0, True), (2e-3, 0.0, False), (0.0, 120.0, False)):
        placed, rng = [], np.random.default_rng(9)
        for number, turn in enumerate((0.0, 25.0, 50.0, 75.0)):
            utc = rig.start.plus_seconds(40.0 * number)
            off = number == 2 or (after and number > 2)
            attitude = rig.attitude(turn, 40.0 * number)
            if off and turned:
                slip = np.array([[1.0, -turned, 0.0], [turned, 1.0, 0.0], [0.0, 0.0, 1.0]])
                attitude = attitude @ np.linalg.qr(slip)[0] @ np.diag(np.sign(np.diag(np.linalg.qr(slip)[1])))
            solution = rig.solution(attitude, utc, rng)
            told = utc.plus_seconds(seconds if off else 0.0)
            placed.append(sky_frame(f"{number}", told, rig.site, rig.air, solution))
        found = estimate_axis(placed, rig.site, rig.air, TargetPole.TRUE)
        yield found
        places = places_of(np.stack([f.attitude_enu.camera_to_sky for f in placed]))
        each = np.stack([f.attitude_enu.camera_to_sky for f in placed])
        covariances = np.stack([f.attitude_enu.covariance_rad2 for f in placed])
        pole = pole_enu(rig.site, rig.air, TargetPole.TRUE)
        for item in (*possible_mishaps(places), repeated_slips(places)):
            why = explain(item, each, covariances, pole)
            yield item, None if why is None else (why.fit.axis_enu, why.fit.chi2, why.probability, why.score)


def _following() -> Iterator[object]:
    for rig in _rigs()[:2]:
        placed = _captured(rig, (0.0, 30.0, 62.0))
        found = estimate_axis(placed, rig.site, rig.air, TargetPole.REFRACTED, _FLEXURE)
        assert isinstance(found, AxisEstimate)
        known = KnownAxis(found.east_rad, found.up_rad, np.array([[4e-9, 1e-9], [1e-9, 6e-9]]))
        states = [start_following(found, placed), start_following_axis(rig.site, found.target_enu, known, placed[-1])]
        rng = np.random.default_rng(3)
        screws = ((0.0, 0.0), (0.0, 0.0), (0.2, 0.0), (0.2, 0.0), (0.2, -0.4), (0.2, -0.4), (-0.1, -0.3))
        for number, (clockwise, up) in enumerate(screws):
            seconds = 120.0 + 5.0 * number
            turn = 62.0 + (20.0 if number == 6 else 0.0)
            attitude = rig.screws(clockwise, up) @ rig.attitude(turn, seconds)
            utc = rig.start.plus_seconds(seconds)
            frame = sky_frame(f"then-{number}", utc, rig.site, rig.air, rig.solution(attitude, utc, rng))
            told = [follow(state, frame) for state in states]
            states = [state for state, _ in told]
            yield [reading for _, reading in told]


def _views() -> Iterator[object]:
    noise = frame_noise(_captured(_rigs()[0], (0.0, 30.0)))
    for latitude in (0.3, 0.9, 1.35):
        axis = np.array([0.0, math.cos(latitude), math.sin(latitude)])
        for azimuth, altitude in ((10.0, 30.0), (92.0, 40.0), (185.0, 55.0), (268.0, 10.0), (40.0, 88.0)):
            look = np.asarray(horizontal_to_enu(math.radians(azimuth), math.radians(altitude)))
            yield camera_positions(axis, look, noise, 1e-5, np.radians([-60.0, 0.0, 35.0]))
            yield best_position(axis, look, noise, 1e-5), weakness(axis, look, noise, 1e-5)


def _wide_lens() -> Iterator[object]:
    """Five frames of a lens that bends, by all their stars; two of them, and each alone."""
    lens = Bending("straight", 86.0, mirrored=True)
    wide = wide_frames(capture(shared_catalogue(), lens, np.random.default_rng(3)))
    for some in (wide, wide[:2]):
        for placed in with_shared_lens(some, shared_catalogue(), WIDE_SITE, AIRS[0]):
            yield placed.attitude_enu, placed.rms_arcsec, placed.stars_matched, placed.camera
    yield [frame.sky.attitude_enu.covariance_rad2 for frame in wide[:2]]


# the drift

_TWO = ((0.0, 10.0), (-5.0, 60.0))


def _drifts() -> Iterator[tuple[str, DriftProof]]:
    rng = np.random.default_rng(11)
    spec = mount_off(52.0, 20.0, -12.0, periodic_error_arcsec=8.0)
    south = mount_off(-35.0, -6.0, 9.0)
    yield "free", watched(spec, 52.0, _TWO, 300.0, 10.0, 0.4, rng)
    yield "south", watched(south, -35.0, _TWO, 240.0, 12.0, 0.4, rng, 0.6, TargetPole.TRUE)
    yield "one field", watched(spec, 52.0, _TWO[:1], 400.0, 10.0, 0.4, rng)
    yield "long", watched(spec, 52.0, _TWO[:1], 2400.0, 40.0, 0.8, rng, 0.9)
    yield "nudged", watched(mount_off(52.0, 0.1, 0.1), 52.0, _TWO, 300.0, 8.0, 0.4, rng, nudge=Nudging())
    yield (
        "taken back",
        guided_mount(spec, 52.0, _TWO, 300.0, 8.0, 0.3, rng, 0.2, 0.3, False, Nudging(back_arcsec_s=2.0)),
    )
    yield "guided", guided(52.0, _TWO, 300.0, 8.0, 0.3, rng)
    yield "in declination", guided(52.0, _TWO, 300.0, 8.0, 0.3, rng, periodic_error_arcsec=8.0)
    yield "short", watched(spec, 52.0, _TWO[:1], 15.0, 2.0, 0.4, rng)
    yield "few", watched(spec, 52.0, _TWO[:1], 30.0, 10.0, 0.4, rng)


def _drift() -> Iterator[object]:
    for name, proof in _drifts():
        result = measure(proof)
        yield name, result, cadence_s(proof)
        if isinstance(result, DriftResult):
            yield [guiding_refusal(result, off) for off in (None, True, False)], guarded(proof, result)
            yield [remaining(proof, result, wanted) for wanted in (1e-5, 1e-4, 1e-3)]
            yield compare_with_turn(result, 5e-3, -3e-3, ((1e-9, 0.0), (0.0, 1e-9)), proof.site, proof.atmosphere)
            yield compare_with_turn(result, 1e-3, 0.0, ((1e-9, 0.0), (0.0, 1e-9)), proof.site, proof.atmosphere, "a")
        for flexure, rested in ((None, 0.0), (Flexure(), 300.0), (_FLEXURE, 1800.0)):
            told = read_drift(
                proof.samples, proof.site, proof.atmosphere, proof.target, 3e-4, rested, flexure, proof.nudged
            )
            yield told, getattr(told, "known", None), getattr(told, "open", None), getattr(told, "complete", None)


def _drift_parts() -> Iterator[object]:
    rng = np.random.default_rng(12)
    at_s = np.arange(0.0, 300.0, 6.0)
    for wander in (0.0, 1.0, 4.0):
        left = np.cumsum(rng.normal(0.0, 0.2 * wander, at_s.size)) + rng.normal(0.0, 0.4, at_s.size)
        left /= ARCSEC_PER_RAD
        yield slope_growth([(at_s, left), (at_s[:3], left[:3])]), wander_rad_s(at_s, left)
        yield field_motion(at_s, 5.0 * left, left, 2e-9, 1e-9), field_motion(at_s[:9], left[:9], left[:9], 1e-7, 1e-9)
        yield (
            largest_step(at_s, left + np.where(at_s > 120.0, 3.0 / ARCSEC_PER_RAD, 0.0)),
            largest_step(at_s[:9], left[:9]),
        )
        yield nudge_in(at_s, left + np.where(at_s > 90.0, 60.0 / ARCSEC_PER_RAD, 0.0))
    yield slope_growth([(at_s[:3], left[:3])])
    yield [rest_needed_s(tolerance / ARCMIN_PER_RAD) for tolerance in (0.2, 0.5, 1.0, 5.0, 60.0)]
    yield [wanted_rad(tolerance / ARCMIN_PER_RAD) for tolerance in (0.1, 1.0, 10.0)]


def _drift_plan() -> Iterator[object]:
    for site in SITES:
        for side in ("east", "west"):
            yield best_positions(site, AIR, side)
        for hour, dec in ((-1.3, 1.0), (0.1, 0.2), (1.5, 1.4), (0.7, 0.5)):
            star = star_enu(site, hour, dec)
            yield drift_rates(1e-3, -2e-3, hour, dec, -1.0), refraction_bias_rad(site, AIR, hour, dec)
            yield star, place_rad(star, 0.9, site), tells(hour, dec)
            for mirrored in (False, True):
                camera = KnownCamera(2e-5, 0.6, mirrored)
                yield boresight_enu(site, camera, (hour, dec), FieldShift(12.0, -7.0, 0.0, 0.1, 5))
    for hours in ((0.0,), (0.0, -5.0), (1.0, 5.5)):
        yield predicted_sigmas_rad(hours, 300.0, 2e-6, 5.0), predicted_seconds(hours, 1e-4, 2e-6, 5.0, 1.4)


# the watch


def _series() -> Iterator[object]:
    rng = np.random.default_rng(13)
    at_s = np.arange(0.0, 1500.0, 15.0)
    quiet = Quiet(1e-10, 2e-9, 3e-7, 700.0)
    for step, ramp in ((0.0, 0.0), (6e-6, 0.0), (-6e-6, 0.0), (0.0, 3e-8), (0.0, -3e-8)):
        value = rng.normal(0.0, 5e-7, at_s.size) + step * (at_s > 1200.0) + ramp * np.maximum(at_s - 1100.0, 0.0)
        value[40] += 2e-5
        for count in (9, 14, 60, 100):
            sigma = np.full(count, 5e-7)
            yield find_change(at_s[:count], value[:count], sigma, quiet, 600.0), scatter(value[:count])
    yield scatter(value[:4])


def _vigils() -> Iterator[object]:
    run = Run(fields=((-2.0, 35.0, 0.55), (0.1, 35.0, 0.2)), clouds_per_night=0)
    for number, way in enumerate(("still", "kick", "sink", "guided", "dithered")):
        rng = np.random.default_rng([14, number])
        mine = dataclasses.replace(run, guided=way == "guided", dithers_every=4 if way == "dithered" else 0)
        setup, axis = setup_of(mine, rng)
        hinge = declination_axis(axis, -1.6, 35.0)
        base = {"kick": sudden(1300.0, -6.0 * hinge), "sink": slow(900.0, 40.0 * hinge)}.get(way, still)
        vigil = Vigil(setup)
        for frame, at_s in frames(mine, axis, rng, base):
            vigil = watch(vigil, frame, at_s)
            if vigil.new is not None:
                yield vigil.new
        yield (
            way,
            vigil.frames,
            vigil.watches,
            len(vigil.shifts),
            vigil.slope_d,
            vigil.slope_m,
            runs_free(vigil.looks),
        )
        yield vigil.looks[-1] if vigil.looks else None


CASES: Mapping[str, Case] = {
    name: lambda of=of: list(of())  # type: ignore[misc]
    for name, of in {
        "refraction": _refraction,
        "instants": _instants,
        "places": _places,
        "cells": _cells,
        "sky choice": _sky_choice,
        "tolerance": _tolerance,
        "tonight": _tonight,
        "study": _study,
        "sizes of turns": _sizes,
        "learning": _learning,
        "turns": _turns,
        "walks": _walks,
        "screw geometry": _screw_geometry,
        "axes": _axes,
        "mishaps": _mishaps,
        "following": _following,
        "views": _views,
        "wide lens": _wide_lens,
        "drift": _drift,
        "parts of a drift": _drift_parts,
        "plan of a drift": _drift_plan,
        "series": _series,
        "vigils": _vigils,
    }.items()
}
