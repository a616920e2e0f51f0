"""Following the axis while the screws turn, on star lists of a mount that is moved by scipy rotations."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product

import numpy as np
import pytest

from axis_sky import ARCSEC, Rig, refracted_pole
from polewright.core.angles import unit
from polewright.core.axis.accuracy import FrameNoise
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.following import AxisReading, FollowState, follow, start_following
from polewright.core.axis.viewing import best_position, camera_positions, weakness
from polewright.core.axis_reasons import WeakView
from polewright.core.model import AxisEstimate, FloatArray, Site, SkyFrame, TargetPole
from polewright.core.sky.places import horizontal_to_enu, offset_from_pole
from polewright.core.unsolved import AxisLeapt, OtherCamera
from polewright.words.axis import follow_words

CAPTURE = (0.0, 45.0, 90.0)
RIG = Rig(Site(48.0, 10.0, 200.0), 50.0, -72.0, rho_deg=30.0, hour_deg=-90.0)


@dataclass(frozen=True)
class Step:
    """Seconds after the capture; RA axis turned on by `turn_deg`; screws (clockwise, up); lean (east, north)."""

    after_s: float
    turn_deg: float = 0.0
    screws: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)
    tracking: bool | None = None
    tracked_s: float | None = None


@dataclass(frozen=True, eq=False)
class Session:
    """A capture, then frames: readings, and the truth (east, up) for each."""

    readings: list[AxisReading]
    truth: FloatArray
    state: FollowState

    def error_arcsec(self, k: int) -> FloatArray:
        reading = self.readings[k]
        return (np.array([reading.east_rad, reading.up_rad]) - self.truth[k]) / ARCSEC

    def sigma_arcsec(self, k: int) -> FloatArray:
        return np.sqrt(np.diag(self.readings[k].covariance_rad2)) / ARCSEC


def captured(rig: Rig, rng: np.random.Generator) -> FollowState:
    frames = [sky_frame(n, u, rig.site, rig.air, s, 30.0) for n, u, s in rig.capture(CAPTURE, rng)]
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    return start_following(found, frames)


def frame_after(rig: Rig, step: Step, rng: np.random.Generator) -> tuple[SkyFrame, FloatArray]:
    """A frame, and where the axis is then."""
    mount = rig.screws(*step.screws, *step.lean)
    seconds = 80.0 + step.after_s
    running = seconds if step.tracked_s is None else 80.0 + step.tracked_s
    attitude = mount @ rig.attitude(CAPTURE[-1] + step.turn_deg, running)
    utc = rig.start.plus_seconds(seconds)
    frame = sky_frame(f"after {step.after_s:g} s", utc, rig.site, rig.air, rig.solution(attitude, utc, rng), 30.0)
    return frame, mount @ rig.axis


def run(rig: Rig, steps: Sequence[Step], seed: int = 3) -> Session:
    rng = np.random.default_rng(seed)
    state, pole = captured(rig, rng), refracted_pole(rig.site, rig.air)
    readings, truth = [], []
    for step in steps:
        frame, axis = frame_after(rig, step, rng)
        state, reading = follow(state, frame)
        readings.append(reading)
        truth.append(offset_from_pole(axis, pole, rig.site))
    return Session(readings, np.array(truth), state)


def test_following_starts_where_the_capture_ended() -> None:
    rng = np.random.default_rng(1)
    frames = [sky_frame(n, u, RIG.site, RIG.air, s, 30.0) for n, u, s in RIG.capture(CAPTURE, rng)]
    found = estimate_axis(frames, RIG.site, RIG.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    pose = start_following(found, frames).pose
    assert pose.axis_enu == pytest.approx(found.axis_enu, abs=1e-3 * ARCSEC)
    assert pose.axis_in_camera == pytest.approx(found.axis_in_camera, abs=1e-3 * ARCSEC)
    assert np.trace(pose.axis_covariance_enu) == pytest.approx(np.trace(found.covariance_rad2), rel=0.01)


@pytest.mark.parametrize("lat", [48.0, -35.0, 10.0, 70.0])
@pytest.mark.parametrize("tracking", [True, False])
@pytest.mark.parametrize("lean", [(0.0, 0.0), (3.0, 0.0), (-2.0, 2.0)])
def test_moves_of_degrees_are_followed_exactly(lat: float, tracking: bool, lean: tuple[float, float]) -> None:
    """Without noise nothing may be left of moves of 5 and 3 degrees, on a base out of level by 3."""
    rig = RIG.but(site=Site(lat, 10.0, 200.0), noise_px=0.0, tracking=tracking, hour_deg=-70.0, rho_deg=25.0)
    moves = [(0.0, 0.0), (0.3, 0.0), (2.0, 1.0), (5.0, 3.0), (-1.0, 3.0), (-4.0, -1.0)]
    session = run(rig, [Step(20.0 + 15.0 * k, screws=move, lean=lean) for k, move in enumerate(moves)])
    for k in range(len(moves)):
        assert session.readings[k].refused is None
        # the frame's own roll, the known RA axis and an unknown lean may pull by what they are good for, no more
        assert np.linalg.norm(session.error_arcsec(k)) < 0.3 + 0.2 * np.linalg.norm(session.sigma_arcsec(k))


@pytest.mark.parametrize("tracking", [True, False])
@pytest.mark.parametrize("lat", [48.0, -35.0])
def test_tracking_is_found_out(tracking: bool, lat: float) -> None:
    rig = RIG.but(site=Site(lat, 10.0), tracking=tracking)
    session = run(rig, [Step(20.0), Step(40.0), Step(60.0, screws=(0.2, 0.1)), Step(80.0, screws=(0.2, 0.1))])
    assert [r.tracking for r in session.readings] == ["on" if tracking else "off"] * 4
    assert [r.settled for r in session.readings] == [True, True, False, True]
    assert [r.moved for r in session.readings] == [False, False, True, False]
    assert [r.frames_at_rest for r in session.readings] == [2, 3, 1, 2]


def test_tracking_is_found_out_even_when_the_first_frame_comes_with_turned_screws() -> None:
    for tracking in (True, False):
        session = run(RIG.but(tracking=tracking), [Step(25.0, screws=(0.05, 0.1))])
        assert session.readings[0].moved
        assert session.readings[0].tracking == ("on" if tracking else "off")


def test_before_time_has_passed_tracking_is_unknown() -> None:
    session = run(RIG, [Step(0.05)])
    assert session.readings[0].tracking == "unknown"
    assert session.readings[0].settled


def test_tracking_switched_off_is_noticed() -> None:
    steps = [Step(20.0), Step(40.0), *(Step(t, tracked_s=45.0) for t in (60.0, 80.0, 100.0))]
    session = run(RIG, steps)
    assert session.readings[1].tracking == "on"
    assert session.readings[4].tracking == "off"
    said = [follow_words(doubt) for reading in session.readings for doubt in reading.warnings]
    assert any(text.startswith("The RA axis moved by 1′, not as a drive does") for text in said)
    assert said[-1] == "Tracking seems to have been switched off."
    for k in range(5):
        assert np.linalg.norm(session.error_arcsec(k)) < 4.0 * np.linalg.norm(session.sigma_arcsec(k))


def test_frames_at_rest_are_averaged() -> None:
    moved = Step(20.0, screws=(1.0, 0.5))
    session = run(RIG, [moved, *(replace(moved, after_s=25.0 + 5.0 * k) for k in range(8))])
    totals = [np.linalg.norm(session.sigma_arcsec(k)) for k in range(9)]
    assert totals[8] < 0.7 * totals[0]  # what the last frame of the capture left uncertain stays
    assert all(later < earlier * 1.02 for earlier, later in pairwise(totals))
    assert session.readings[8].frames_at_rest == 9


def test_frames_in_quick_succession_count_for_less() -> None:
    """They share image motion."""
    moved = Step(20.0, screws=(1.0, 0.5))
    slow = run(RIG, [moved, *(replace(moved, after_s=25.0 + 5.0 * k) for k in range(5))])
    quick = run(RIG, [moved, *(replace(moved, after_s=20.2 + 0.2 * k) for k in range(5))])
    assert np.linalg.norm(quick.sigma_arcsec(5)) > np.linalg.norm(slow.sigma_arcsec(5))


@pytest.mark.parametrize("turn", [40.0, -60.0, 0.2])
def test_a_slew_of_the_ra_axis_is_told_from_the_screws(turn: float) -> None:
    session = run(RIG, [Step(20.0), Step(40.0, turn_deg=turn), Step(60.0, turn_deg=turn)])
    reading = session.readings[1]
    assert (reading.ra_moved, reading.moved, reading.settled) == (True, False, False)
    assert "not as a drive does" in follow_words(reading.warnings[0])
    assert session.readings[2].settled
    for k in (1, 2):
        assert np.linalg.norm(session.error_arcsec(k)) < 4.0 * np.linalg.norm(session.sigma_arcsec(k))


def test_a_slew_together_with_a_screw_still_gives_the_axis() -> None:
    session = run(RIG, [Step(20.0), Step(40.0, turn_deg=50.0, screws=(2.0, 1.0))])
    reading = session.readings[1]
    assert reading.ra_moved
    assert reading.moved
    assert np.linalg.norm(session.error_arcsec(1)) < 4.0 * np.linalg.norm(session.sigma_arcsec(1))


def test_a_declination_turned_by_much_is_no_screw() -> None:
    rng = np.random.default_rng(5)
    state = captured(RIG, rng)
    other = RIG.but(rho_deg=45.0)
    frame, _ = frame_after(other, Step(20.0), rng)
    after, reading = follow(state, frame)
    assert isinstance(reading.refused, AxisLeapt) and math.degrees(reading.refused.step_rad) > 8.0
    assert after is state
    assert reading.east_rad == pytest.approx(50.0 * 60.0 * ARCSEC, abs=5.0 * ARCSEC)


def test_another_camera_is_refused() -> None:
    rng = np.random.default_rng(5)
    state = captured(RIG, rng)
    frame, _ = frame_after(RIG, Step(20.0), rng)
    for camera in (replace(frame.camera, mirrored=True), replace(frame.camera, focal_px=frame.camera.focal_px * 1.1)):
        after, reading = follow(state, replace(frame, camera=camera))
        assert after is state
        assert reading.refused == OtherCamera(frame.name)


def test_a_blurred_frame_and_an_old_frame_are_remarked_on() -> None:
    rng = np.random.default_rng(5)
    state = captured(RIG, rng)
    frame, _ = frame_after(RIG, Step(20.0), rng)
    _, reading = follow(state, replace(frame, rms_arcsec=9.0))
    assert "while something moved" in follow_words(reading.warnings[0])
    old, _ = frame_after(RIG, Step(-15.0), rng)
    _, reading = follow(state, old)
    assert "older than the frame before" in follow_words(reading.warnings[0])


@pytest.mark.parametrize(
    ("azimuth", "altitude", "words", "cure"),
    [
        (0.0, 84.0, "near the zenith", "Turn the RA axis by"),
        (90.0, 60.0, "far to the east", "Turn the RA axis by"),
        (92.0, 35.0, "far to the east", "Turn the RA axis by"),
        (268.0, 25.0, "far to the west", "Turn the RA axis by"),
        (120.0, 40.0, "far to the east", "within 20 degrees of the pole"),
    ],
)
def test_a_weak_camera_position_is_named_with_a_better_one(
    azimuth: float, altitude: float, words: str, cure: str
) -> None:
    """And the uncertainty is honest there: it grows by what the formula says."""
    rig = looking_at(azimuth, altitude)
    session = run(rig, [Step(20.0), Step(30.0, screws=(0.05, 0.05)), Step(40.0, screws=(0.1, 0.08))])
    reading = session.readings[2]
    (weak,) = (follow_words(doubt) for doubt in reading.warnings if isinstance(doubt, WeakView))
    assert words in weak and cure in weak
    assert np.linalg.norm(session.sigma_arcsec(2)) > 6.0
    assert np.linalg.norm(session.error_arcsec(2)) < 4.0 * np.linalg.norm(session.sigma_arcsec(2))


def test_the_cure_of_a_weak_view_mends_it_and_is_not_fulfilled_already() -> None:
    """Where turning the RA axis alone does not help: the camera is not yet as near to the pole as the words ask, and
    there it sees the screws better. Some of these places lie
    within 45 degrees of the meridian."""
    axis, asked = horizontal_to_enu(0.0, np.radians(50.0)), math.radians(20.0)
    cures, near_meridian = 0, 0
    for azimuth, altitude in product(range(5, 180, 5), range(20, 90, 5)):
        look = horizontal_to_enu(*np.radians([float(azimuth), float(altitude)]))
        away = math.acos(float(look @ axis))
        weak = weakness(axis, look, FrameNoise(0.2 * ARCSEC, 16.0 * ARCSEC, away), 5.0 * ARCSEC)
        if weak is None or weak.better is not None:
            continue
        aside = unit(look - (look @ axis) * axis)
        there = math.cos(asked) * axis + math.sin(asked) * aside
        (seen,) = camera_positions(
            axis, there, FrameNoise(0.2 * ARCSEC, 16.0 * ARCSEC, asked), 5.0 * ARCSEC, np.zeros(1)
        )
        assert away > asked and seen.sigma_rad < weak.sigma_rad
        assert "within 20 degrees of the pole" in follow_words(weak) and "meridian" not in follow_words(weak)
        cures, near_meridian = cures + 1, near_meridian + (min(azimuth, 180 - azimuth) < 45)
    assert cures > 10 and near_meridian > 0


@pytest.mark.parametrize("off_deg", [-15.0, 15.0])
def test_how_the_camera_looks_is_told_against_the_axis_not_against_north(off_deg: float) -> None:
    """Before the first correction the axis may stand degrees beside the meridian: bearings from it count."""
    seen = Counter[str]()
    for azimuth, altitude in product(range(25, 360, 30), (20.0, 35.0, 50.0)):
        told = []
        for turned_deg in (0.0, off_deg):
            axis = horizontal_to_enu(np.radians(turned_deg), np.radians(50.0))
            look = horizontal_to_enu(*np.radians([azimuth + turned_deg, altitude]))
            noise = FrameNoise(0.2 * ARCSEC, 16.0 * ARCSEC, math.acos(float(look @ axis)))
            weak = weakness(axis, look, noise, 5.0 * ARCSEC)
            told.append("" if weak is None else weak.look.name)
        assert told[0] == told[1], (azimuth, altitude)
        seen[told[0]] += 1
    assert {"EAST", "WEST"} <= seen.keys()


@pytest.mark.parametrize(("azimuth", "altitude"), [(0.0, 30.0), (180.0, 45.0), (0.0, 47.0)])
def test_a_good_camera_position_needs_no_words(azimuth: float, altitude: float) -> None:
    session = run(looking_at(azimuth, altitude), [Step(20.0), Step(24.0, screws=(0.05, 0.05))])
    assert session.readings[1].moved
    assert not any(isinstance(doubt, WeakView) for doubt in session.readings[1].warnings)
    assert np.linalg.norm(session.sigma_arcsec(1)) < 12.0


def looking_at(azimuth_deg: float, altitude_deg: float) -> Rig:
    """A rig with the camera there at the end of the capture."""
    rig = RIG.but(hour_deg=0.0)
    look = horizontal_to_enu(np.radians(azimuth_deg), np.radians(altitude_deg))
    axis = rig.axis
    rho = float(np.degrees(np.arccos(look @ axis)))
    start = rig.but(rho_deg=rho).attitude(0.0)[:, 2]
    across = [v - (v @ axis) * axis for v in (start, look)]
    hour = np.degrees(np.arctan2(np.cross(across[0], across[1]) @ axis, across[0] @ across[1]))
    return rig.but(rho_deg=rho, hour_deg=float(hour) - CAPTURE[-1])


def test_positions_that_turning_the_ra_axis_offers() -> None:
    """From due east the best is near the meridian; the positions keep their distance from the axis."""
    axis, look = horizontal_to_enu(0.0, np.radians(48.0)), horizontal_to_enu(np.radians(90.0), np.radians(30.0))
    noise = FrameNoise(0.2 * ARCSEC, 16.0 * ARCSEC, 1.0)
    best = best_position(axis, look, noise, 3.0 * ARCSEC)
    assert best is not None
    (here,) = camera_positions(axis, look, noise, 3.0 * ARCSEC, np.zeros(1))
    assert (here.azimuth_deg, here.altitude_deg) == pytest.approx((90.0, 30.0))
    assert best.sigma_rad < 0.5 * here.sigma_rad
    there = horizontal_to_enu(np.radians(best.azimuth_deg), np.radians(best.altitude_deg))
    assert there @ axis == pytest.approx(look @ axis, abs=1e-9)


def test_at_the_pole_of_the_earth_the_axis_is_followed_too() -> None:
    """The azimuth screw turns about the axis itself there: only what moves the axis counts."""
    rig = RIG.but(site=Site(90.0, 0.0), east_arcmin=5.0, up_arcmin=3.0, rho_deg=40.0)
    session = run(rig, [Step(20.0), Step(40.0, screws=(3.0, 0.1)), Step(60.0, screws=(3.0, 0.1))])
    for k in range(3):
        assert np.linalg.norm(session.error_arcsec(k)) < 4.0 * np.linalg.norm(session.sigma_arcsec(k))


def test_near_the_pole_every_frame_is_good_to_the_pointing() -> None:
    """The axis inside the field: 1.4 to 2 sp, whatever the screws do."""
    session = run(RIG.but(rho_deg=0.5, noise_px=0.15), [Step(20.0), Step(40.0, screws=(3.0, 2.0), lean=(2.0, 1.0))])
    sp = 0.15 * RIG.camera.scale_arcsec_px / np.sqrt(RIG.stars)
    assert np.linalg.norm(session.sigma_arcsec(1)) < 4.0 * np.hypot(sp, 0.05)
    assert np.linalg.norm(session.error_arcsec(1)) < 1.0
