"""Drift from star lists alone: shifts between frames, and the axis from them through the simulated rig."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drift_nights import mount_off
from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.drift.live import DriftProof, DriftResult, add_direction
from polewright.core.drift.rates import star_enu
from polewright.core.drift.shift_tracking import FieldShift, field_shift
from polewright.core.drift.unsolved import KnownCamera, UnsolvedDrift, add_stars, at_field, boresight_enu
from polewright.core.model import Atmosphere, FloatArray, Site, StarFlag, StarList, TargetPole
from polewright.simulate.mount import Mount
from polewright.simulate.night import scenario_named
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import MountRanges, Scenario
from polewright.words.drift import shift_words
from simulated_star_lists import observe_stars


def star_list(xy: FloatArray, sigma: float = 0.1, flags: int = 0) -> StarList:
    n = xy.shape[0]
    ones = np.ones(n)
    return StarList(
        1280, 960, xy[:, 0], xy[:, 1], sigma * ones, ones, 50.0 * ones, 3.0 * ones, np.full(n, flags, dtype=np.int64)
    )


def moved(xy: FloatArray, x: float, y: float, turn: float) -> FloatArray:
    centre = np.array([639.5, 479.5])
    c, s = np.cos(turn), np.sin(turn)
    return (xy - centre) @ np.array([[c, s], [-s, c]]) + centre + np.array([x, y])


@pytest.mark.parametrize("count", [4, 8, 60])
@pytest.mark.parametrize(("x", "y", "turn"), [(0.0, 0.0, 0.0), (13.2, -41.7, 2e-4), (-2.5, 1.0, -3e-3)])
def test_shift_and_turn_are_recovered(count: int, x: float, y: float, turn: float) -> None:
    rng = np.random.default_rng(count)
    xy = rng.uniform(60.0, [1220.0, 900.0], (count, 2))
    seen = moved(xy, x, y, turn) + rng.normal(0.0, 0.1, xy.shape)
    lost = rng.permutation(count)[: max(3, int(0.8 * count))]
    false = rng.uniform(0.0, 900.0, (count // 4, 2))
    found = field_shift(star_list(xy), star_list(np.concatenate([seen[lost], false])))
    assert isinstance(found, FieldShift)
    assert (found.x_px, found.y_px) == pytest.approx((x, y), abs=max(4.5 * found.sigma_px, 0.02))
    assert found.turn_rad == pytest.approx(turn, abs=2e-3 if count < 20 else 3e-4)
    assert found.pairs >= 3 and found.sigma_px < 0.15


def test_the_stated_sigma_is_the_scatter() -> None:
    rng = np.random.default_rng(3)
    errors, sigmas = [], []
    for _ in range(120):
        xy = rng.uniform(60.0, [1220.0, 900.0], (25, 2))
        a, b = (star_list(moved(xy, *s, 0.0) + rng.normal(0.0, 0.1, xy.shape)) for s in ((0.0, 0.0), (3.0, 4.0)))
        found = field_shift(a, b)
        assert isinstance(found, FieldShift)
        errors += [found.x_px - 3.0, found.y_px - 4.0]
        sigmas.append(found.sigma_px)
    assert np.std(errors) == pytest.approx(np.sqrt(np.mean(np.square(sigmas))), rel=0.2)
    assert np.mean(sigmas) == pytest.approx(0.1 * np.sqrt(2.0 / 25.0), rel=0.25)


def test_what_cannot_be_tracked_is_refused_with_a_cure() -> None:
    rng = np.random.default_rng(4)
    xy = rng.uniform(60.0, 900.0, (20, 2))
    few = field_shift(star_list(xy), star_list(xy[:2]))
    elsewhere = field_shift(star_list(xy), star_list(xy + 300.0))
    bad = field_shift(star_list(xy), star_list(xy, flags=int(StarFlag.SATURATED)))
    for refusal in (few, elsewhere, bad):
        assert not isinstance(refusal, FieldShift) and shift_words(refusal).cure
    near = field_shift(star_list(xy), star_list(xy + 300.0), near=(295.0, 302.0))
    assert isinstance(near, FieldShift) and near.x_px == pytest.approx(300.0, abs=1e-6)


@pytest.mark.parametrize("lat_deg", [45.0, -30.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_stars_that_move_up_mean_a_boresight_that_sinks(lat_deg: float, mirrored: bool) -> None:
    """Image up north: stars one pixel up (y smaller) put the boresight one pixel south; parity turns x round only."""
    site = Site(lat_deg, 0.0)
    camera = KnownCamera(5.0 / ARCSEC_PER_RAD, 0.0, mirrored)
    place = (0.4, 0.6)
    centre, side = star_enu(site, *place), np.sign(lat_deg)
    north = star_enu(site, 0.4, 0.6 + np.pi / 2.0) * side
    west = star_enu(site, 0.4 + np.pi / 2.0, 0.0)
    up = boresight_enu(site, camera, place, FieldShift(0.0, -1.0, 0.0, 0.1, 5)) - centre
    assert up @ north * ARCSEC_PER_RAD == pytest.approx(-5.0, abs=1e-3)
    right = boresight_enu(site, camera, place, FieldShift(1.0, 0.0, 0.0, 0.1, 5)) - centre
    # north up, looking at the sky: right is west, so stars going right put the boresight to the east
    assert right @ west * ARCSEC_PER_RAD == pytest.approx(5.0 if mirrored else -5.0, abs=1e-3)


def quiet(name: str) -> Scenario:
    """The scenario with a base that stands still and an error of some arcminutes."""
    ranges = MountRanges(
        sag_arcsec=(0.0, 0.0), tripod_sinks_arcmin=(0.0, 0.0), ra_backlash_arcsec=(0.0, 0.0), lean_deg=(0.0, 0.0)
    )
    return replace(
        scenario_named(f"perfect-{name}"),
        mount=ranges,
        off_azimuth_deg=(-0.2, 0.2),
        off_altitude_deg=(-0.15, 0.15),
        clouds=None,
    )


@pytest.mark.parametrize(("name", "seed"), [("calm", 3), ("southern-sky", 4), ("mirrored-optics", 5)])
def test_the_axis_from_star_lists_of_the_simulated_rig(name: str, seed: int) -> None:
    """Two fields, a frame every 10 s, no plate solved; the camera's orientation known to half a degree, the place to
    a degree. The truth comes from the simulator's own sky."""
    rig = SimulatedRig(quiet(name), seed)
    rng = np.random.default_rng(seed)
    scenario = rig.night.scenario
    side = 1.0 if scenario.site.lat_deg >= 0.0 else -1.0
    proof = DriftProof(scenario.site, rig.night.air, TargetPole.REFRACTED)
    state = UnsolvedDrift(proof, KnownCamera(scenario.camera.scale_arcsec_px / ARCSEC_PER_RAD, 0.0), 0.0, 0.0)
    now = rig.night.start
    for hour_h, dec_p_deg in ((0.0, 10.0), (-5.0, 60.0)):
        now = rig.point(hour_h, side * dec_p_deg, now).plus_seconds(5.0)
        rig.set_tracking(True, now)
        view = rig.view(now, 1.0)
        angle = position_angle(view.attitude_enu, view.sky.pole_true * side) + np.radians(rng.uniform(-0.5, 0.5))
        state = replace(
            state, camera=replace(state.camera, position_angle_rad=angle, mirrored=scenario.camera.mirrored)
        )
        state = at_field(state, np.radians(15.0 * hour_h + 0.7), np.radians(dec_p_deg + 0.7))
        for _ in range(31):
            seen = observe_stars(rig, now, 2.0, rng, most=30, spurious=3)
            state = add_stars(state, seen.stars, rig.seconds(now))
            assert state.trouble is None
            now = now.plus_seconds(10.0)
    result = state.proof.result
    assert isinstance(result, DriftResult), result
    truth = np.array(rig.axis(now).from_refracted_pole_arcmin)
    measured = np.array([result.east_rad, result.up_rad]) * ARCMIN_PER_RAD
    assert np.hypot(*truth) > 2.0
    assert measured == pytest.approx(truth, abs=max(1.0, 3.5 * result.sigma_rad * ARCMIN_PER_RAD))
    assert result.sigma_rad * ARCMIN_PER_RAD < 1.0


def position_angle(camera_to_enu: FloatArray, north: FloatArray) -> float:
    """Of image up, celestial north through east, of an un-mirrored attitude."""
    z, up = camera_to_enu[:, 2], -camera_to_enu[:, 1]
    east = np.cross(north, z)
    east = east / np.linalg.norm(east)
    return float(np.arctan2(up @ east, up @ np.cross(z, east)))


def test_a_bad_list_is_kept_out_and_said() -> None:
    proof = DriftProof(Site(45.0, 0.0), Atmosphere(1000.0), TargetPole.TRUE)
    state = UnsolvedDrift(proof, KnownCamera(2e-5, 0.0), 0.0, 0.5)
    xy = np.random.default_rng(6).uniform(60.0, 900.0, (20, 2))
    state = add_stars(state, star_list(xy[:2]), 0.0)
    assert state.trouble is not None and state.first is None
    state = add_stars(state, star_list(xy), 1.0)
    cloudy = add_stars(state, star_list(xy[:1]), 5.0)
    assert cloudy.trouble is not None and cloudy.proof == state.proof
    clear = add_stars(cloudy, star_list(xy), 9.0)
    assert clear.trouble is None and len(clear.proof.samples) == 2


def test_an_orientation_wrong_by_two_degrees_is_seen_through() -> None:
    """20" of periodic error leak into the declination as its sine; taken at its word, the angle spoils the axis by
    half an arcminute; fitted with a doubt, hardly."""
    wrong = np.radians(2.0)
    errors = {}
    for doubt in (np.radians(2.0), 0.0):
        result = through_a_turned_camera(wrong, doubt)
        errors[doubt] = np.hypot(result.east_rad - 3.0 / ARCMIN_PER_RAD, result.up_rad + 2.0 / ARCMIN_PER_RAD)
    assert errors[0.0] * ARCSEC_PER_RAD > 20.0
    assert errors[np.radians(2.0)] * ARCSEC_PER_RAD < 8.0


def through_a_turned_camera(wrong: float, doubt: float) -> DriftResult:
    """Two positions, no air, shifts as seen by a camera whose stated angle is wrong."""
    none = Atmosphere(0.0)
    spec = mount_off(45.0, 3.0, -2.0, none, periodic_error_arcsec=20.0, periodic_error_s=480.0)
    mount, site, scale = Mount(spec), Site(45.0, 0.0), 3.0 / ARCSEC_PER_RAD
    proof = DriftProof(site, none, TargetPole.TRUE, orientation_sigma_rad=doubt)
    camera = KnownCamera(scale, wrong, orientation_sigma_rad=doubt)
    now = 0.0
    for hour_h, dec_p_deg in ((0.0, 5.0), (-5.0, 60.0)):
        place = (np.radians(15.0 * hour_h), np.radians(dec_p_deg))
        now = mount.point(now + 10.0, star_enu(site, *place)) + 5.0
        mount.set_tracking(now, True)
        for t in np.arange(0.0, 240.0, 4.0):
            hour = place[0] + SIDEREAL_RATE_RAD_S * t
            off = mount.attitude(now + t)[:, 2] - star_enu(site, hour, place[1])
            north = off @ star_enu(site, hour, place[1] + np.pi / 2.0)
            west = off @ star_enu(site, hour + np.pi / 2.0, 0.0)
            # an un-mirrored camera with north up: right is west, stars move against the boresight, y points down
            shift = FieldShift(float(-west / scale), float(north / scale), 0.0, 0.05, 9)
            seen = boresight_enu(site, camera, (hour, place[1]), shift)
            proof = add_direction(proof, now + t, seen, 0.05 * scale)
        now += 240.0
    assert isinstance(proof.result, DriftResult)
    return proof.result
