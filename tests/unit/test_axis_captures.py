"""Captures that cannot be measured, captures in which something went wrong, and what is said about them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from axis_sky import ARCSEC, Rig
from polewright.core.axis.accuracy import axis_sigma_rad, frame_noise
from polewright.core.axis.estimate import estimate_axis, predicted_sigma_rad, recommended_rotation_rad, sky_frame
from polewright.core.axis.screw_offsets import screw_offsets
from polewright.core.model import Attitude, AxisEstimate, FloatArray, Site, SkyFrame, TargetPole, Utc
from polewright.words.axis import doubt_words, refusal_words
from polewright.words.said import Said

ARCMIN = 60.0 * ARCSEC
SITE = Site(48.0, 10.0, 200.0)
RIG = Rig(SITE, 25.0, -12.0, rho_deg=30.0, hour_deg=-45.0)
Change = Callable[[int, FloatArray, Utc], tuple[FloatArray, Utc]]


def unchanged(_: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
    return attitude, utc


def slip(where: Callable[[int], bool], arcmin: float) -> Change:
    """The declination axis turned by so much on these frames."""

    def change(k: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
        if not where(k):
            return attitude, utc
        axis = np.cross(attitude[:, 2], RIG.axis)
        turn = Rotation.from_rotvec(axis / np.linalg.norm(axis) * arcmin * ARCMIN)
        return turn.as_matrix() @ attitude, utc

    return change


def kick(first: int, arcmin: tuple[float, float, float]) -> Change:
    """The whole mount turned from frame number `first` on."""

    def change(k: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
        turn = Rotation.from_rotvec(np.array(arcmin) * ARCMIN).as_matrix()
        return (turn @ attitude if k >= first else attitude), utc

    return change


def clock(where: Callable[[int], bool], seconds: float) -> Change:
    """The time stamps of these frames off by so much."""

    def change(k: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
        return attitude, utc.plus_seconds(seconds) if where(k) else utc

    return change


def capture(turns: list[float], change: Change = unchanged, rig: Rig = RIG, seed: int = 4) -> list[SkyFrame]:
    rng = np.random.default_rng(seed)
    frames = []
    for k, turn in enumerate(turns):
        utc = rig.start.plus_seconds(40.0 * k)
        attitude, stamp = change(k, rig.attitude(turn, 40.0 * k), utc)
        solution = rig.solution(attitude, utc, rng)
        frames.append(sky_frame(f"f{k + 1}", stamp, rig.site, rig.air, solution, exposure_s=30.0))
    return frames


def measured(frames: list[SkyFrame], rig: Rig = RIG) -> AxisEstimate:
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate), found
    return found


def error_arcsec(found: AxisEstimate, rig: Rig = RIG) -> FloatArray:
    truth = np.array([rig.east_arcmin, rig.up_arcmin]) * ARCMIN
    return (np.array([found.east_rad, found.up_rad]) - truth) / ARCSEC


def refused(frames: list[SkyFrame]) -> Said:
    """Why, in words."""
    found = estimate_axis(frames, SITE, RIG.air, TargetPole.REFRACTED)
    assert not isinstance(found, AxisEstimate)
    said = refusal_words(found)
    assert said.cure.endswith(".")
    return said


class TestRefusals:
    def test_fewer_than_two_frames(self) -> None:
        assert "2 are needed" in refused([]).reason
        assert "Turn the RA axis" in refused(capture([0.0])).cure

    def test_frames_that_are_too_alike(self) -> None:
        found = refused(capture([0.0, 1.0, 2.0]))
        assert "only 1.7 degrees" in found.reason  # tracking took back a third of a degree
        assert "Turn the RA axis by another" in found.cure

    def test_identical_attitudes(self) -> None:
        frame = capture([0.0])[0]
        assert "too much alike" in refused([frame, replace(frame, utc_mid=frame.utc_mid.plus_seconds(30.0))]).reason

    def test_the_same_exposure_twice(self) -> None:
        frame = capture([0.0])[0]
        assert "2 are needed" in refused([frame, replace(frame, name="copy")]).reason

    def test_one_time_for_two_skies(self) -> None:
        first, second = capture([0.0, 45.0])
        found = refused([first, replace(second, utc_mid=first.utc_mid)])
        assert "f1 and f2 carry the same time" in found.reason

    def test_mirrored_among_unmirrored(self) -> None:
        first, second = capture([0.0, 45.0])
        camera = replace(second.camera, mirrored=True)
        assert "mirrored" in refused([first, replace(second, camera=camera)]).reason

    def test_another_scale(self) -> None:
        first, second = capture([0.0, 45.0])
        camera = replace(second.camera, focal_px=second.camera.focal_px * 1.05)
        assert "field of" in refused([first, replace(second, camera=camera)]).reason

    def test_pixels_turned_by_a_quarter(self) -> None:
        """A camera, or a program, that turns pictures upright: the scale is not to blame."""
        first, second = capture([0.0, 45.0])
        camera = second.camera
        upright = replace(camera, width_px=camera.height_px, height_px=camera.width_px)
        said = refused([first, replace(second, camera=upright)])
        assert "turned by a quarter" in said.reason and "as the camera wrote them" in said.cure

    def test_binning_is_no_other_camera(self) -> None:
        first, second = capture([0.0, 45.0])
        camera = replace(second.camera, width_px=640, height_px=480, focal_px=second.camera.focal_px / 2.0)
        assert isinstance(measured([first, replace(second, camera=camera)]), AxisEstimate)

    def test_turning_the_declination_instead(self) -> None:
        found = refused(capture([0.0, 0.0], dec_turn))
        assert "degrees from the celestial pole" in found.reason
        assert "not the declination" in found.cure

    def test_a_hopeless_uncertainty(self) -> None:
        found = refused([_with_roll_error(frame, np.radians(0.5)) for frame in capture([0.0, 4.0])])
        assert "uncertain by" in found.reason
        assert "Turn the RA axis by another" in found.cure


def _with_roll_error(frame: SkyFrame, roll_rad: float) -> SkyFrame:
    """The frame, its roll known only so well (a handful of stars in one corner)."""
    covariance = frame.attitude_enu.covariance_rad2 + np.diag([0.0, 0.0, roll_rad**2])
    return replace(frame, attitude_enu=Attitude(frame.attitude_enu.camera_to_sky, covariance))


def dec_turn(k: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
    return slip(lambda _: True, 2400.0 * (k + 1))(k, attitude, utc.plus_seconds(200.0))


class TestSoundCaptures:
    def test_an_undisturbed_capture_accuses_nobody(self) -> None:
        found = measured(capture([0.0, 30.0, 60.0, 90.0]))
        assert found.suspect is None
        assert found.warnings == ()
        assert found.dof == 4
        assert found.frames == ("f1", "f2", "f3", "f4")
        assert np.max(np.abs(error_arcsec(found))) < 3.0
        assert np.degrees(found.rotation_rad) == pytest.approx([0.0, 30.0, 60.0, 90.0], abs=0.6)  # tracking: 0.5

    def test_two_frames_have_nothing_to_check(self) -> None:
        found = measured(capture([0.0, 60.0]))
        assert (found.dof, found.chi2) == (0, pytest.approx(0.0, abs=1e-9))

    def test_the_companion_is_the_unweighted_answer(self) -> None:
        found = measured(capture([0.0, 45.0, 90.0]))
        assert (
            np.hypot(found.companion_east_rad - found.east_rad, found.companion_up_rad - found.up_rad) < 60 * ARCSEC
        )

    def test_the_same_exposure_given_twice_counts_once(self) -> None:
        frames = capture([0.0, 45.0, 90.0])
        found = measured([*frames, replace(frames[1], name="again")])
        assert found.frames == ("f1", "f2", "f3")
        assert "again is the same exposure as f2" in doubt_words(found.warnings[0])

    def test_the_order_of_frames_does_not_matter(self) -> None:
        frames = capture([0.0, 40.0, 95.0])
        one, other = measured(frames), measured([frames[2], frames[0], frames[1]])
        assert (one.east_rad, one.up_rad) == pytest.approx((other.east_rad, other.up_rad), abs=1e-12)

    def test_a_short_arc_says_how_unsure_it_is_and_what_to_do(self) -> None:
        found = measured(capture([0.0, 3.5]))
        assert "Another frame after turning the RA axis a further" in doubt_words(found.warnings[0])

    def test_targets_differ_by_the_refraction_of_the_pole(self) -> None:
        frames = capture([0.0, 45.0, 90.0])
        ups = [
            e.up_rad
            for target in (TargetPole.TRUE, TargetPole.BETWEEN, TargetPole.REFRACTED)
            if isinstance(e := estimate_axis(frames, SITE, RIG.air, target), AxisEstimate)
        ]
        # 52.2" at latitude 48 for 1010 hPa, 10 C (ERFA refco)
        assert (ups[0] - ups[2]) / ARCSEC == pytest.approx(52.2, abs=0.3)
        assert (ups[0] - ups[1]) / ARCSEC == pytest.approx(26.1, abs=0.2)


@pytest.mark.parametrize("count", [4, 5, 6])
class TestMishaps:
    """Every mishap names the frame, and the axis is right all the same (or says that it is not)."""

    def turns(self, count: int) -> list[float]:
        return list(np.linspace(0.0, 100.0, count))

    def test_a_frame_with_its_declination_off(self, count: int) -> None:
        for k in range(1, count - 1):
            found = measured(capture(self.turns(count), slip(k.__eq__, 3.0)))
            assert found.suspect == f"f{k + 1}"
            assert "declination is off by about 3.0′" in doubt_words(found.warnings[0])
            assert np.max(np.abs(error_arcsec(found))) < 6.0

    def test_a_declination_that_slips_and_stays(self, count: int) -> None:
        for k in range(2, count - 1):
            found = measured(capture(self.turns(count), slip(k.__le__, 4.0)))
            assert found.suspect == f"f{k + 1}"
            assert f"slipped by about 4.0′ before f{k + 1}" in doubt_words(found.warnings[0])
            assert np.max(np.abs(error_arcsec(found))) < 8.0

    def test_a_slip_after_the_first_frame(self, count: int) -> None:
        found = measured(capture(self.turns(count), slip(lambda i: i >= 1, 3.0)))
        assert found.suspect == "f1"
        assert "slipped by about 3.0′ after f1" in doubt_words(found.warnings[0])
        assert np.max(np.abs(error_arcsec(found))) < 6.0

    def test_a_slip_of_a_degree(self, count: int) -> None:
        found = measured(capture(self.turns(count), slip(lambda i: i == 1, 60.0)))
        assert found.suspect == "f2"
        assert np.max(np.abs(error_arcsec(found))) < 6.0

    def test_a_kicked_tripod(self, count: int) -> None:
        """The axis shown is the one after the kick."""
        turn = Rotation.from_rotvec(np.array([3.0, -2.0, 1.0]) * ARCMIN)
        for k in range(2, count - 1):
            frames = capture(self.turns(count), kick(k, (3.0, -2.0, 1.0)))
            found = measured(frames)
            assert found.suspect == f"f{k + 1}"
            assert "mount itself moved" in doubt_words(found.warnings[0])
            assert found.axis_enu == pytest.approx(turn.apply(RIG.axis), abs=25.0 * ARCSEC)

    def test_a_wrong_time(self, count: int) -> None:
        found = measured(capture(self.turns(count), clock(lambda i: i == 1, 600.0)))
        assert found.suspect == "f2"
        assert "time" in doubt_words(found.warnings[0])
        assert np.max(np.abs(error_arcsec(found))) < 6.0

    def test_a_time_zone_that_changed_half_way(self, count: int) -> None:
        """Nobody can know which half is right: the uncertainty must say so."""
        found = measured(capture(self.turns(count), clock(lambda i: i >= 2, 3600.0)))
        assert found.suspect == "f3"
        assert "wrong by about 60 min" in doubt_words(found.warnings[0])
        sigma = np.sqrt(np.trace(found.covariance_rad2)) / ARCSEC
        assert np.linalg.norm(error_arcsec(found)) < 4.0 * sigma


@pytest.mark.parametrize("count", [3, 4, 5, 8])
def test_a_clutch_that_slips_with_every_rotation(count: int) -> None:
    """It looks very much like another axis (4 arcmin here): from four frames on roll alone has to decide."""
    slipped = np.cumsum([0.0, *np.random.default_rng(9).uniform(1.0, 4.0, count - 1)])

    def change(k: int, attitude: FloatArray, utc: Utc) -> tuple[FloatArray, Utc]:
        return slip(lambda _: True, float(slipped[k]))(k, attitude, utc)

    found = measured(capture(list(np.linspace(0.0, 90.0, count)), change))
    error = error_arcsec(found) * ARCSEC
    assert error @ np.linalg.solve(found.covariance_rad2, error) < 14.0
    assert found.chi2 > 50.0
    if count > 3:
        assert "slips whenever the RA axis is turned" in doubt_words(found.warnings[0])
        assert np.linalg.norm(error_arcsec(found)) < 60.0
    else:
        assert "do not agree" in doubt_words(found.warnings[0])


@pytest.mark.parametrize("k", [0, 1, 2])
def test_with_three_frames_a_slip_is_noticed_and_covered(k: int) -> None:
    """Three frames cannot tell which of them is wrong; the covariance has to cover it (measured: 1 to 3 sigma)."""
    found = measured(capture([0.0, 45.0, 90.0], slip(lambda i: i == k, 3.0)))
    assert found.suspect is None
    assert "do not agree" in doubt_words(found.warnings[0])
    sigma = np.sqrt(np.trace(found.covariance_rad2)) / ARCSEC
    assert np.linalg.norm(error_arcsec(found)) < 3.0 * sigma


class TestAccuracyBeforehand:
    def test_what_the_next_rotation_buys_is_what_it_brings(self) -> None:
        frames = capture([0.0, 40.0, 90.0])
        before = predicted_sigma_rad(frames[:2], np.radians(49.83))  # tracking runs against the turn
        after = np.sqrt(np.trace(measured(frames).covariance_rad2))
        assert before == pytest.approx(after, rel=0.1)

    def test_with_one_frame_the_pole_stands_in_for_the_axis(self) -> None:
        frames = capture([0.0, 60.0])
        assert predicted_sigma_rad(frames[:1], np.radians(60.0)) == pytest.approx(
            np.sqrt(np.trace(measured(frames).covariance_rad2)), rel=0.3
        )

    def test_no_rotation_buys_nothing(self) -> None:
        assert predicted_sigma_rad(capture([0.0]), 0.0) == np.inf
        assert predicted_sigma_rad([], 1.0) == np.inf

    def test_more_rotation_buys_more(self) -> None:
        frames = capture([0.0, 30.0])
        sigmas = [predicted_sigma_rad(frames, np.radians(turn)) for turn in (15.0, 30.0, 60.0, 90.0)]
        assert sigmas == sorted(sigmas, reverse=True)

    def test_the_recommended_rotation_reaches_the_goal(self) -> None:
        frames = capture([0.0, 30.0])
        goal = 1.0 * ARCSEC
        turn = recommended_rotation_rad(frames, goal)
        assert predicted_sigma_rad(frames, turn) <= goal < predicted_sigma_rad(frames, turn - np.radians(5.0))

    @pytest.mark.parametrize("turned_deg", [3.0, 10.0, 30.0])
    def test_nobody_is_asked_to_turn_for_less_than_air_and_tube_hide(self, turned_deg: float) -> None:
        """5" of star noise and no less: a turn of another 5 degrees would be for nothing, one of 5 less too few."""
        frames, goal = capture([0.0, turned_deg]), 5.0 * ARCSEC
        turn = recommended_rotation_rad(frames)
        assert predicted_sigma_rad(frames, turn) <= goal < predicted_sigma_rad(frames, turn - np.radians(5.0))

    def test_a_goal_out_of_reach_gets_the_best_there_is(self) -> None:
        frames = capture([0.0, 30.0])
        turn = recommended_rotation_rad(frames, 1e-12)
        best = min(predicted_sigma_rad(frames, np.radians(t)) for t in range(5, 125, 5))
        assert predicted_sigma_rad(frames, turn) <= 1.1 * best

    def test_formula_and_estimate_agree(self) -> None:
        frames = capture([0.0, 45.0, 90.0])
        formula = axis_sigma_rad(np.radians([0.0, 45.0, 90.0]), frame_noise(frames))
        assert np.sqrt(np.trace(measured(frames).covariance_rad2)) == pytest.approx(formula, rel=0.05)


@pytest.mark.parametrize("lat", [12.0, 48.0, 75.0, -35.0])
def test_the_two_screws_undo_the_error_exactly(lat: float) -> None:
    """Offsets of degrees: azimuth along the horizon (positive: axis too far east), altitude (positive: too high)."""
    rig = RIG.but(site=Site(lat, 10.0), east_arcmin=110.0, up_arcmin=-70.0, noise_px=0.0)
    found = measured(capture([0.0, 45.0, 90.0], rig=rig), rig)
    screws = screw_offsets(found)
    side = 1.0 if lat > 0.0 else -1.0
    p = rig.axis
    east_of_meridian = np.arctan2(p[0], side * p[1])
    assert screws.azimuth_rad == pytest.approx(east_of_meridian, abs=1.0 * ARCSEC)
    target = np.arcsin(found.target_enu[2])
    assert screws.altitude_rad == pytest.approx(np.arcsin(p[2]) - target, abs=1.0 * ARCSEC)
    assert screws.sigma_azimuth_rad == pytest.approx(np.sqrt(found.covariance_rad2[0, 0]) / np.cos(target), rel=1e-9)
