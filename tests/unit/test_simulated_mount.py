"""The simulated mount against closed forms of spherical astronomy and mechanics, in both hemispheres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polewright.core.angles import ARCMIN_PER_RAD, ARCSEC_PER_RAD, SIDEREAL_RATE_RAD_S, rotation_about, separation_rad
from polewright.core.errors import UsageError
from polewright.core.model import FloatArray
from polewright.simulate.drive import LooseDrive
from polewright.simulate.mount import Mount, MountSpec, offset_from
from polewright.simulate.screw import Screw, ScrewSpec

LATER_S = 1000.0  # long after every move of a test


def pole(lat_deg: float) -> FloatArray:
    """Elevated pole."""
    lat = np.radians(lat_deg)
    return np.array([0.0, np.cos(lat), np.sin(lat)]) * (1.0 if lat_deg >= 0.0 else -1.0)


def star(lat_deg: float, hour_angle_h: float, dec_toward_pole_deg: float) -> FloatArray:
    """ENU direction of an hour angle and a declination counted toward the elevated pole."""
    lat, h = np.radians(lat_deg), np.radians(15.0 * hour_angle_h)
    d = np.radians(dec_toward_pole_deg) * (1.0 if lat_deg >= 0.0 else -1.0)
    up = np.array([0.0, -np.sin(lat), np.cos(lat)])
    north = np.array([0.0, np.cos(lat), np.sin(lat)])
    return np.cos(d) * np.cos(h) * up - np.cos(d) * np.sin(h) * np.array([1.0, 0.0, 0.0]) + np.sin(d) * north


def after(v: FloatArray, lat_deg: float, seconds: float) -> FloatArray:
    """The star later: the sky turns by -w about the north pole."""
    lat = np.radians(lat_deg)
    return rotation_about(np.array([0.0, np.cos(lat), np.sin(lat)]), -SIDEREAL_RATE_RAD_S * seconds) @ v


def aligned(lat_deg: float, east_on_horizon_arcmin: float = 0.0, up_arcmin: float = 0.0, **more: float) -> MountSpec:
    """A perfect mount whose axis is off by horizon angle to the east and by altitude."""
    southern = lat_deg < 0.0
    azimuth = (180.0 - east_on_horizon_arcmin / 60.0) if southern else east_on_horizon_arcmin / 60.0
    return MountSpec(azimuth, abs(lat_deg) + up_arcmin / 60.0, southern=southern, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lean", "azimuth_change", "altitude_change"), [((2.0, 0.0), 0.0, -2.09), ((0.0, 2.0), -1.79, 0.0)]
)
def test_a_leaning_base_couples_the_azimuth_screw(
    lean: tuple[float, float], azimuth_change: float, altitude_change: float
) -> None:
    """First order: altitude by -dA * lean east, azimuth by -dA * lean north * tan(alt); 2 deg, 60', latitude 40."""
    spec = MountSpec(0.0, 40.0, lean_east_deg=lean[0], lean_north_deg=lean[1])
    moved = _azimuth_altitude(_turned(spec, "azimuth", 1.0)) - _azimuth_altitude(_turned(spec, "azimuth", 0.0))
    assert moved[0] - 60.0 == pytest.approx(azimuth_change, abs=0.45)
    assert moved[1] == pytest.approx(altitude_change, abs=0.45)
    # the second order goes away for a turn to both sides
    both = 0.5 * (moved - (_azimuth_altitude(_turned(spec, "azimuth", -1.0)) - np.array([0.0, 2400.0])))
    assert both[0] - 60.0 == pytest.approx(azimuth_change, abs=0.08)
    assert both[1] == pytest.approx(altitude_change, abs=0.02)


@pytest.mark.parametrize("southern", [False, True])
def test_what_a_turn_is_worth_is_what_a_turn_does(southern: bool) -> None:
    """Half a turn to each side of where the axis stands, engaged, base leaning, lever bending; a turn of 4 arcmin."""
    lever = ScrewSpec(arcmin_per_turn=-4.0, change_per_degree=0.02, backlash_turns=0.1)
    spec = replace(
        aligned(-40.0 if southern else 40.0, up_arcmin=90.0),
        lean_east_deg=1.5,
        lean_north_deg=2.0,
        azimuth=ScrewSpec(arcmin_per_turn=4.0, backlash_turns=0.2),
        altitude=lever,
    )
    for which, index in (("azimuth", 0), ("altitude", 1)):
        mount = Mount(spec)
        places = []
        for number, turns in enumerate((20.0, 0.5, 0.5)):
            getattr(mount, which).turn(LATER_S * number, turns)
            places.append(_azimuth_altitude(mount.axis_enu(LATER_S * (number + 0.9))))
            if number == 1:
                worth = mount.turn_worth_arcmin(LATER_S * 1.9)[index]
        assert worth == pytest.approx((places[2] - places[0])[index], rel=1e-3)


def test_the_screws_move_the_field_as_the_jacobian_says() -> None:
    """Camera at azimuth 40, altitude 50, axis at azimuth 0: first-order partials (along azimuth, altitude, roll)."""
    expected = {"azimuth": [0.64279, 0.0, -0.76604], "altitude": [0.49240, 0.76604, 0.41318]}
    look = _direction(40.0, 50.0)
    right = np.array([np.cos(np.radians(40.0)), -np.sin(np.radians(40.0)), 0.0])
    for screw, column in expected.items():
        mount = Mount(replace(aligned(40.0), **{screw: ScrewSpec(arcmin_per_turn=1.0)}))  # type: ignore[arg-type]
        mount.point(0.0, look)
        before = mount.attitude(500.0)
        getattr(mount, screw).turn(500.0, 0.1)
        turned = mount.attitude(LATER_S) @ before.T
        amount = np.radians(0.1 / 60.0)
        moved = (turned - np.eye(3)) @ look / amount
        roll = ((turned - np.eye(3)) @ right / amount) @ np.cross(look, right)
        assert moved @ right == pytest.approx(column[0], abs=1e-4)
        assert moved @ np.cross(right, look) == pytest.approx(column[1], abs=1e-4)
        assert roll == pytest.approx(column[2], abs=1e-4)


@pytest.mark.parametrize(
    ("lat_deg", "azimuth_arcmin", "altitude_arcmin", "total_arcmin"),
    [(40.0, 10.0, 5.0, 9.1439), (40.0, 30.0, -20.0, 30.508), (40.0, 120.0, 60.0, 109.203)],
)
def test_the_total_error_is_the_exact_distance(
    lat_deg: float, azimuth_arcmin: float, altitude_arcmin: float, total_arcmin: float
) -> None:
    for sign in (1.0, -1.0):
        spec = aligned(sign * lat_deg, azimuth_arcmin, altitude_arcmin)
        east, up = np.array(offset_from(pole(sign * lat_deg), Mount(spec).axis_enu(0.0))) * ARCMIN_PER_RAD
        assert np.hypot(east, up) == pytest.approx(total_arcmin, abs=1e-3)
        assert np.sign(east) == 1.0
        assert np.sign(up) == np.sign(altitude_arcmin)


def test_offsets_are_defined_at_the_poles_of_the_earth_and_on_the_equator() -> None:
    for lat_deg in (90.0, -90.0, 0.0):
        east, up = offset_from(pole(lat_deg), pole(lat_deg))
        assert (east, up) == pytest.approx((0.0, 0.0), abs=1e-12)
        tilted = rotation_about(np.array([1.0, 0.0, 0.0]), np.radians(0.5)) @ pole(lat_deg)
        assert np.hypot(*offset_from(pole(lat_deg), tilted)) == pytest.approx(np.radians(0.5))


# declination drift in arcsec/min, exact: axis 7' east on the horizon and 4' low
@pytest.mark.parametrize(
    ("lat_deg", "hour_angle_h", "dec_deg", "arcsec_min"),
    [
        (40.0, 0.0, 0.0, -1.4091),
        (40.0, -6.0, 0.0, -1.0491),
        (40.0, -3.0, 40.0, -1.7386),
        (-35.0, -3.0, 40.0, -1.8077),
    ],
)
def test_a_tracked_star_drifts_in_declination_as_the_exact_formula_says(
    lat_deg: float, hour_angle_h: float, dec_deg: float, arcsec_min: float
) -> None:
    """Covington, Astrophotography for the Amateur, 2nd ed. (1999), appendix B: dec_mount = asin(star . axis)."""
    mount = Mount(aligned(lat_deg, 7.0, -4.0))
    mount.set_tracking(0.0, True)
    s = star(lat_deg, hour_angle_h, dec_deg)
    axis_in_camera = mount.attitude(100.0).T @ mount.axis_enu(100.0)
    declination = [
        np.arcsin((mount.attitude(100.0 + t).T @ after(s, lat_deg, t)) @ axis_in_camera) for t in (-30.0, 30.0)
    ]
    assert (declination[1] - declination[0]) * ARCSEC_PER_RAD == pytest.approx(arcsec_min, abs=0.001)


# trail in arcsec at 1 degree from the guide star after 10 min, axis 5' too high, star on the meridian in between
@pytest.mark.parametrize(
    ("dec_deg", "arcsec", "within"),
    [(0.0, 0.229, 0.002), (30.0, 0.265, 0.002), (45.0, 0.324, 0.002), (60.0, 0.459, 0.002), (85.0, 2.673, 0.03)],
)
def test_a_guided_field_turns_as_the_closed_form_says(dec_deg: float, arcsec: float, within: float) -> None:
    """trail = E T r / (45019 cos dec), with exact values of a two-axis simulation; near the pole to 2 %."""
    guide = star(40.0, 0.0, dec_deg)
    side = np.cross(guide, [1.0, 0.0, 0.0])
    other = np.cos(np.radians(1.0)) * guide + np.sin(np.radians(1.0)) * side
    seen = []
    for t in (-300.0, 300.0):
        mount = Mount(aligned(40.0, 0.0, 5.0))
        mount.point(0.0, after(guide, 40.0, t))
        seen.append(mount.attitude(LATER_S).T @ after(other, 40.0, t))
        assert (mount.attitude(LATER_S).T @ after(guide, 40.0, t))[2] == pytest.approx(1.0, abs=1e-12)
    assert separation_rad(seen[0], seen[1]) * ARCSEC_PER_RAD == pytest.approx(arcsec, abs=within)


@pytest.mark.parametrize("lat_deg", [55.0, 3.0, -3.0, -40.0])
def test_a_perfect_mount_follows_the_stars(lat_deg: float) -> None:
    mount = Mount(aligned(lat_deg))
    s = star(lat_deg, -1.0, 20.0)
    mount.set_tracking(mount.point(0.0, s), True)
    start = mount.busy_until()
    first, last = (mount.attitude(start + t).T @ after(s, lat_deg, t) for t in (0.0, 3600.0))
    assert separation_rad(first, last) * ARCSEC_PER_RAD < 1e-4
    assert mount.tracking(start + 1.0)
    assert not mount.tracking(-1.0)


@pytest.mark.parametrize("lat_deg", [55.0, -40.0])
def test_turning_west_raises_the_hour_angle(lat_deg: float) -> None:
    mount = Mount(aligned(lat_deg))
    mount.point(0.0, star(lat_deg, -1.0, 20.0))
    mount.rotate_ra(200.0, 30.0)
    assert mount.attitude(LATER_S)[:, 2] == pytest.approx(star(lat_deg, 1.0, 20.0), abs=1e-9)


def test_turns_of_the_screws_move_the_axis_the_way_they_say() -> None:
    for lat_deg in (50.0, -50.0):
        north, higher = _turned(aligned(lat_deg), "azimuth", 0.5), _turned(aligned(lat_deg), "altitude", 0.5)
        start = Mount(aligned(lat_deg)).axis_enu(0.0)
        clockwise = np.cross(start, north)[2]
        assert clockwise < 0.0  # from above, clockwise
        assert higher[2] > start[2]
        assert separation_rad(start, higher) * ARCMIN_PER_RAD == pytest.approx(30.0, abs=1e-6)


# a scope that sinks by 30" * cos(altitude): the axis looks low by 30" cos(lat) cos(rho)
@pytest.mark.parametrize(("rho_deg", "arcsec"), [(3.0, 23.0), (30.0, 20.0), (60.0, 11.5)])
def test_a_sagging_scope_makes_the_axis_look_low(rho_deg: float, arcsec: float) -> None:
    mount = Mount(aligned(40.0, sag_arcsec=30.0))
    now = mount.point(0.0, star(40.0, -3.0, 90.0 - rho_deg))
    total = np.zeros((3, 3))
    for _ in range(7):  # 90 degrees of rotation, half of it on either side of the meridian
        total += mount.attitude(now)
        now = mount.rotate_ra(now, 15.0)
    axis = np.linalg.svd(total)[0][:, 0]
    axis = axis * np.sign(axis[2])
    assert offset_from(mount.axis_enu(0.0), axis)[1] * ARCSEC_PER_RAD == pytest.approx(-arcsec, abs=0.3)


def test_every_attitude_is_a_proper_rotation_and_the_axis_stays_put_in_the_camera() -> None:
    spec = aligned(
        -33.0,
        50.0,
        -70.0,
        lean_east_deg=2.0,
        lean_north_deg=-1.0,
        cone_arcmin=9.0,
        axes_not_square_arcmin=5.0,
        roll_deg=77.0,
    )
    mount = Mount(spec)
    mount.point(0.0, star(-33.0, -2.0, 30.0))
    seen = []
    for at_s in (100.0, 200.0, 300.0):
        mount.rotate_ra(at_s - 50.0, 20.0)
        mount.azimuth.turn(at_s - 40.0, 1.0)
        attitude = mount.attitude(at_s)
        assert attitude @ attitude.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(attitude) == pytest.approx(1.0)
        seen.append(attitude.T @ mount.axis_enu(at_s))
    assert np.ptp(np.array(seen), axis=0) == pytest.approx(0.0, abs=1e-12)


def test_kicks_slips_and_a_sinking_tripod() -> None:
    mount = Mount(aligned(45.0, settle_tripod_arcmin=3.0, settle_tripod_toward_deg=0.0, settle_tripod_s=100.0))
    first = mount.axis_enu(0.0)
    assert separation_rad(first, mount.axis_enu(1e5)) * ARCMIN_PER_RAD == pytest.approx(3.0, abs=1e-6)
    assert mount.axis_enu(1e5)[2] < first[2]  # it sinks toward the north, where the axis points
    mount.knock(2e5, np.radians([5.0 / 60.0, 0.0, 0.0]))
    assert separation_rad(mount.axis_enu(1.9e5), mount.axis_enu(2.1e5)) * ARCMIN_PER_RAD == pytest.approx(
        5.0, abs=1e-3
    )
    before = mount.attitude(2.2e5)
    mount.slip_declination(2.3e5, 4.0)
    assert separation_rad(before[:, 2], mount.attitude(2.4e5)[:, 2]) * ARCMIN_PER_RAD == pytest.approx(4.0)
    assert mount.axis_enu(2.4e5) == pytest.approx(mount.axis_enu(2.2e5))


def test_no_pointing_below_the_horizon() -> None:
    with pytest.raises(UsageError, match="below the horizon"):
        Mount(aligned(40.0)).point(0.0, np.array([0.6, 0.0, -0.8]))


def test_a_drive_loses_its_play_at_each_reversal() -> None:
    drive = LooseDrive(0.0, play=2.0, slack=0.0)
    drive.move(0.0, 10.0, 10.0)
    assert drive.output(10.0) == pytest.approx(9.0)
    drive.move(20.0, -5.0, 5.0)
    assert drive.output(21.9) == pytest.approx(9.0)
    assert drive.output(25.0) == pytest.approx(6.0)
    assert drive.driver(25.0) == pytest.approx(5.0)
    with pytest.raises(UsageError, match="order of time"):
        drive.move(19.0, 1.0, 1.0)


def test_a_command_waits_for_the_move_before_it() -> None:
    drive = LooseDrive(0.0, play=0.0)
    drive.move(0.0, 4.0, 4.0)
    assert drive.move(1.0, 2.0, 2.0) == (4.0, 6.0)
    drive.set_base_rate(6.0, 0.5)
    assert drive.output(8.0) == pytest.approx(7.0)


def test_a_screw_loses_its_backlash_once_and_settles() -> None:
    spec = ScrewSpec(arcmin_per_turn=-40.0, backlash_turns=0.2, settle_share=0.1, settle_s=3.0)
    screw = Screw(spec, slack=0.5)
    done = screw.turn(0.0, 1.0)
    assert screw.turning(0.5 * done)
    assert screw.angle_rad(1000.0) * ARCMIN_PER_RAD == pytest.approx(-32.0)
    assert screw.angle_rad(done) * ARCMIN_PER_RAD == pytest.approx(-32.0 * 0.9)
    assert screw.angle_rad(done + 3.0) * ARCMIN_PER_RAD == pytest.approx(-32.0 * (1.0 - 0.1 / np.e))
    screw.turn(1000.0, 0.5)
    assert screw.angle_rad(2000.0) * ARCMIN_PER_RAD == pytest.approx(-52.0)
    screw.turn(2000.0, -0.5)
    assert screw.angle_rad(3000.0) * ARCMIN_PER_RAD == pytest.approx(-40.0)


def test_the_rate_of_a_lever_changes_with_its_angle() -> None:
    screw = Screw(ScrewSpec(arcmin_per_turn=60.0, change_per_degree=0.02))
    screw.turn(0.0, 2.0)
    # d(angle)/d(turns) = 60 (1 + 0.02 angle/60), solved by angle = 3000 (exp(0.02 turns) - 1)
    assert screw.angle_rad(500.0) * ARCMIN_PER_RAD == pytest.approx(3000.0 * np.expm1(0.04))


def test_tightening_shifts_once_after_a_turn() -> None:
    screw = Screw(ScrewSpec(lock_shift_arcmin=0.7))
    screw.tighten(1.0)
    assert screw.angle_rad(2.0) == 0.0
    screw.turn(3.0, 1.0)
    screw.tighten(20.0)
    screw.tighten(30.0)
    assert screw.angle_rad(40.0) * ARCMIN_PER_RAD == pytest.approx(60.7)


def _turned(spec: MountSpec, screw: str, turns: float) -> FloatArray:
    mount = Mount(spec)
    if turns:
        getattr(mount, screw).turn(0.0, turns)
    return mount.axis_enu(LATER_S)


def _azimuth_altitude(v: FloatArray) -> FloatArray:
    return np.array([np.arctan2(v[0], v[1]), np.arcsin(v[2])]) * ARCMIN_PER_RAD


def _direction(azimuth_deg: float, altitude_deg: float) -> FloatArray:
    a, h = np.radians(azimuth_deg), np.radians(altitude_deg)
    return np.array([np.cos(h) * np.sin(a), np.cos(h) * np.cos(a), np.sin(h)])
