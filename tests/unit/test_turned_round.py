"""Formulas that would still give a number with a sign, a unit or a frame turned round, held from outside.

Rotations come from scipy, the refraction of a low pole from 58.294" tan z - 0.0668" tan^3 z (Smart, Textbook on
Spherical Astronomy, 760 mm of mercury and 10 degrees; written down from memory).
"""

from __future__ import annotations

import math
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S
from polewright.core.axis.following_motion import (
    CREEP_RAD,
    UNKNOWN_RAD,
    Motion,
    Pose,
    _process_noise,
    hinge_axis,
    screw_motion,
    twist_rad,
    update,
)
from polewright.core.axis.following_start import KnownAxis, pose_at_frame
from polewright.core.drift.compare import Cause, compare_with_turn
from polewright.core.drift.stillness import along_ra, field_motion, nothing_moves
from polewright.core.model import Atmosphere, Attitude, Camera, FloatArray, Site, SkyFrame, SkyPosition, Utc
from polewright.core.screws.memory import ScrewMove
from polewright.core.screws.sky_turn import screw_path, sky_turn_rad
from polewright.core.screws.stretches import LOST_TURNS, stretches
from polewright.services.atomic_file import write_atomically

UP = np.array([0.0, 0.0, 1.0])


def towards(azimuth_deg: float, altitude_deg: float) -> FloatArray:
    a, h = math.radians(azimuth_deg), math.radians(altitude_deg)
    return np.array([math.cos(h) * math.sin(a), math.cos(h) * math.cos(a), math.sin(h)])


# what the screws do to the axis


@pytest.mark.parametrize(
    "before", [towards(1.0, 50.0), towards(181.0, 35.0), towards(20.0, 86.0), towards(0.0, 89.9)]
)
@pytest.mark.parametrize("moved", [(0.5, 0.3), (-0.5, 0.3), (0.5, -0.3), (0.0, -0.7)])
def test_the_turn_of_the_screws_carries_the_axis_to_where_it_went(
    before: FloatArray, moved: tuple[float, float]
) -> None:
    azimuth, altitude = (math.degrees(math.atan2(before[0], before[1])), math.degrees(math.asin(before[2])))
    after = towards(azimuth + moved[0], altitude + moved[1])
    turn, bearing, height = screw_motion(before, after)
    assert turn @ before == pytest.approx(after, abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    if max(before[2], after[2]) < math.sin(math.radians(85.0)):
        assert (math.degrees(bearing), math.degrees(height)) == pytest.approx(moved, abs=1e-9)
        clockwise = Rotation.from_rotvec(-math.radians(moved[0]) * UP).apply(before)
        assert math.atan2(clockwise[0], clockwise[1]) == pytest.approx(math.atan2(after[0], after[1]))


@pytest.mark.parametrize("azimuth_deg", [0.0, 90.0, 200.0])
def test_a_right_handed_turn_about_the_hinge_raises_the_axis(azimuth_deg: float) -> None:
    axis = towards(azimuth_deg, 40.0)
    raised = Rotation.from_rotvec(math.radians(1.0) * hinge_axis(axis)).apply(axis)
    assert raised == pytest.approx(towards(azimuth_deg, 41.0), abs=1e-12)


def test_the_twist_about_an_axis_has_its_sign() -> None:
    axis, other = towards(10.0, 50.0), np.cross(towards(10.0, 50.0), UP)
    for angle in (0.7, -0.7):
        turn = Rotation.from_rotvec(angle * axis)
        assert twist_rad(turn.as_matrix(), axis) == pytest.approx(angle)
        swung = Rotation.from_rotvec(0.01 * other / np.linalg.norm(other)) * turn
        assert twist_rad(swung.as_matrix(), axis) == pytest.approx(angle, abs=1e-3)


def open_along(altitude_deg: float, motion: Motion) -> dict[str, float]:
    """Sigma, rad, that a supposed motion leaves open: about the vertical, the hinge, the axis, and level along it."""
    axis = towards(0.0, altitude_deg)
    noise = _process_noise(motion, axis, np.eye(3), axis, 0.0, 0.0)  # the camera's axes are those of the place
    about = {"vertical": UP, "hinge": hinge_axis(axis), "axis": axis, "level": np.array([0.0, 1.0, 0.0])}
    return {name: math.sqrt(v @ noise @ v) for name, v in about.items()}


def test_what_may_have_moved_is_left_open_and_nothing_else() -> None:
    rest = open_along(50.0, Motion(0.0, 0.0, False))
    assert list(rest.values()) == pytest.approx([CREEP_RAD] * 4)
    turned = open_along(50.0, Motion(0.0, 0.01, False))
    assert turned["axis"] == pytest.approx(0.01, rel=1e-3) and turned["hinge"] == pytest.approx(CREEP_RAD, rel=1e-3)
    little = open_along(50.0, Motion(0.0, 0.0, True, 1e-3))
    assert little["vertical"] == pytest.approx(1e-3, rel=1e-3) == little["hinge"]
    assert little["level"] == pytest.approx(CREEP_RAD, rel=1e-3)
    anything = open_along(50.0, Motion(0.0, 0.0, True))
    assert anything["vertical"] == pytest.approx(UNKNOWN_RAD, rel=1e-3) == anything["hinge"]


def test_near_the_zenith_the_azimuth_screw_turns_about_the_axis_itself() -> None:
    """The vertical and the axis open together; below 85 degrees only the vertical's share of it is."""
    below, above = (open_along(h, Motion(0.0, 0.0, True))["axis"] for h in (84.0, 86.0))
    assert above > 1.3 * below


def test_a_frame_turned_by_the_screws_moves_the_axis_and_one_at_rest_does_not() -> None:
    axis = towards(0.0, 50.0)
    camera = Rotation.from_euler("xyz", [20.0, 30.0, 40.0], degrees=True).as_matrix()
    pose = Pose(camera, camera.T @ axis, np.eye(6) * 1e-12)
    screws = Rotation.from_rotvec(-math.radians(0.4) * UP) * Rotation.from_rotvec(
        math.radians(0.2) * hinge_axis(axis)
    )
    noise = np.eye(3) * 1e-12
    moved = update(pose, Motion(0.0, 0.0, True), screws.as_matrix() @ camera, noise)
    assert moved.pose.axis_enu == pytest.approx(screws.apply(axis), abs=3e-6)
    still = update(pose, Motion(0.0, 0.0, False), camera, noise)
    assert still.pose.axis_enu == pytest.approx(axis, abs=1e-9) and still.chi2 < 1e-6
    ra = Rotation.from_rotvec(0.3 * axis).as_matrix() @ camera
    turned = update(pose, Motion(0.3, 1e-4, False), ra, noise)
    assert turned.chi2 < 1e-3 and turned.pose.axis_enu == pytest.approx(axis, abs=1e-6)
    assert update(pose, Motion(-0.3, 1e-4, False), ra, noise).chi2 > 1e3


@pytest.mark.parametrize("southern", [False, True], ids=["north", "south"])
def test_an_axis_known_by_drift_is_as_sure_in_the_sky_as_it_was(southern: bool) -> None:
    """Its own uncertainty is that of east and up; an error of the frame's attitude does not add to it."""
    pole = towards(180.0 if southern else 0.0, 40.0)
    attitude = Rotation.from_euler("xyz", [50.0, -20.0, 70.0], degrees=True).as_matrix()
    errors = np.diag([1e-9, 9e-9, 4e-6])
    frame = SkyFrame(
        "f",
        Utc(2461357.5, 0.8),
        Attitude(attitude, errors),
        Camera(1280, 960, 48000.0),
        40,
        0.4,
        SkyPosition(1.0, 2.0),
    )
    own = np.array([[4e-8, 1e-8], [1e-8, 9e-9]])
    known = KnownAxis(2e-3, -1e-3, own)
    pose = pose_at_frame(known, pole, Site(-40.0 if southern else 40.0, 0.0), frame)
    east = np.array([1.0, 0.0, 0.0])
    up = np.array([0.0, -pole[2] * (-1.0 if southern else 1.0), abs(pole[1])])
    assert np.arctan2(pose.axis_enu @ east, pose.axis_enu @ pole) == pytest.approx(2e-3, rel=1e-3)
    assert np.arctan2(pose.axis_enu @ up, pose.axis_enu @ pole) == pytest.approx(-1e-3, rel=1e-3)
    both = np.stack([east, up])
    assert both @ pose.axis_covariance_enu @ both.T == pytest.approx(own, rel=0.02)


# what the screws tell of the sky, and of themselves


@pytest.mark.parametrize("turn_deg", [20.0, -25.0, 40.0])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_turned_sky_turns_both_paths_by_itself(turn_deg: float, way: float) -> None:
    turn, minutes = math.radians(turn_deg), way * 30.0 / ARCMIN_PER_RAD
    level = screw_path(True, minutes * math.cos(turn), minutes * math.sin(turn), 1e-6)
    upward = screw_path(False, -minutes * math.sin(turn), minutes * math.cos(turn), 1e-6)
    assert level is not None and upward is not None
    assert level.turned_rad == pytest.approx(turn) == upward.turned_rad
    assert sky_turn_rad([level, upward]) == pytest.approx(turn)


def move(turns: float, moved: float, before: float = 0.0, guessed: bool = False) -> ScrewMove:
    return ScrewMove(turns, before, before + moved, 0.1, guessed=guessed)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_turns_are_counted_the_way_the_axis_went(sign: float) -> None:
    """Clockwise moves the coordinate by `sign`: a move against that was reported the wrong way round."""
    found = stretches([move(1.0, 60.0 * sign), move(1.0, -60.0 * sign), move(-0.5, -30.0 * sign)], sign, 0.1)
    assert [s.turns for s in found.done] == [1.0, -1.0, -0.5]
    assert [s.direction for s in found.done] == [1.0, -1.0, -1.0] and found.direction == -1.0
    assert found.wrong_way == (1,)
    assert [s.moved_arcmin for s in found.done] == pytest.approx([60.0 * sign, -60.0 * sign, -30.0 * sign])


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_turn_that_nobody_told_crosses_the_slack_that_way(sign: float) -> None:
    found = stretches([move(1.0, 60.0 * sign), move(-0.2, 0.0), move(-1.0, -60.0 * sign, guessed=True)], sign, 0.1)
    assert found.direction == -1.0 and found.open_turns == 0.0 and len(found.done) == 1


def test_an_engaged_screw_that_was_turned_on_and_did_nothing_was_turned_back() -> None:
    assert stretches([move(1.0, 60.0), move(0.3, 0.0)], 1.0, 0.1).open_turns == -0.3
    assert stretches([move(1.0, 60.0), move(-0.3, 0.0)], 1.0, 0.1).open_turns == -0.3
    assert stretches([move(1.0, 60.0), move(LOST_TURNS / 2.0, 0.0)], 1.0, 0.1).open_turns == LOST_TURNS / 2.0


def test_where_a_stretch_was_made_is_told_in_degrees() -> None:
    (found,) = stretches([move(1.0, 60.0, before=120.0)], 1.0, 0.1).done
    assert found.at_deg == pytest.approx(2.5)


# the drift


def field(ra_arcsec_min: float, dec_arcsec_min: float, noise_arcsec: float = 0.02) -> Any:
    """Whether a field of three minutes counts as still, given the rates of its stars."""
    rng = np.random.default_rng(5)
    at_s = np.arange(0.0, 180.0, 4.0)
    along = (ra_arcsec_min * at_s / 60.0 + rng.normal(0.0, noise_arcsec, at_s.size)) / ARCSEC_PER_RAD
    left = rng.normal(0.0, noise_arcsec, at_s.size) / ARCSEC_PER_RAD
    rate = dec_arcsec_min / 60.0 / ARCSEC_PER_RAD
    still = field_motion(at_s, along, left, rate, 1e-12).still
    return None if still is None else bool(still)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_field_is_still_below_what_the_air_does_and_moves_above(sign: float) -> None:
    """0.3 and 0.6 arcseconds a minute: what refraction alone may do in right ascension and in declination."""
    assert field(0.15 * sign, 0.0) is True
    assert field(0.45 * sign, 0.0) is False
    assert field(0.0, 0.45 * sign) is True
    assert field(0.0, 0.8 * sign) is False
    assert field(0.0, 0.0, noise_arcsec=3.0) is None


def test_stillness_needs_every_field_and_time_enough() -> None:
    assert nothing_moves([(True, 120.0), (True, 110.0)])
    assert not nothing_moves([(True, 120.0), (True, 90.0)])
    assert not nothing_moves([(True, 300.0), (False, 120.0)])
    assert nothing_moves([(True, 300.0), (None, 120.0)]) and not nothing_moves([(None, 300.0)])


def test_a_perfect_drive_does_not_move_along_right_ascension_and_a_slow_one_by_the_cosine() -> None:
    """The camera on a perfect drive keeps to its stars: its angle about the axis falls as hour angle grows."""
    at_s = np.arange(0.0, 600.0, 10.0)
    perfect = 3.1 - SIDEREAL_RATE_RAD_S * at_s
    wrapped = (perfect + math.pi) % (2.0 * math.pi) - math.pi
    assert along_ra(at_s, wrapped, np.full(at_s.size, 0.3)) == pytest.approx(np.zeros(at_s.size), abs=1e-12)
    slow = perfect + at_s / ARCSEC_PER_RAD
    moved = along_ra(at_s, slow, np.full(at_s.size, math.radians(60.0)))
    assert moved[-1] * ARCSEC_PER_RAD == pytest.approx(0.5 * at_s[-1])


def smart_rad(altitude_deg: float) -> float:
    """Refraction at 1013 hPa and 10 degrees."""
    t = 1.0 / math.tan(math.radians(altitude_deg))
    return (58.294 * t - 0.0668 * t**3) / ARCSEC_PER_RAD


@pytest.mark.parametrize("lat_deg", [20.0, -20.0, 35.0])
def test_what_air_alone_makes_apart_is_known_by_its_size(lat_deg: float) -> None:
    """Two words on the height that differ by the refraction of the pole: somebody left the air out."""
    tight = ((1e-12, 0.0), (0.0, 1e-12))
    lifted = smart_rad(abs(lat_deg))
    for apart, cause in ((lifted, Cause.REFRACTION), (-lifted, Cause.REFRACTION), (1.7 * lifted, Cause.SLIP)):
        drift = SimpleNamespace(east_rad=0.0, up_rad=apart, covariance_rad2=tight, unknown=None, disturbed=False)
        told = compare_with_turn(drift, 0.0, 0.0, tight, Site(lat_deg, 0.0), Atmosphere(1013.25, 10.0))
        assert told.cause is cause and told.up_rad == pytest.approx(apart)
    sag = 40.0 / ARCSEC_PER_RAD
    drift = SimpleNamespace(east_rad=0.0, up_rad=-sag, covariance_rad2=tight, unknown=None, disturbed=False)
    assert (
        compare_with_turn(drift, 0.0, 0.0, tight, Site(15.0, 0.0), Atmosphere(1013.25, 10.0)).cause is Cause.FLEXURE
    )


# files


def test_a_file_is_whole_before_it_is_forced_to_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty battery after the renaming must not find an empty file."""
    content, sizes, real = b"x" * 5000, list[int](), os.fsync

    def fsync(descriptor: int) -> None:
        sizes.append(os.fstat(descriptor).st_size)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    write_atomically(tmp_path / "a.json", content)
    assert sizes[0] == len(content) and (tmp_path / "a.json").read_bytes() == content
