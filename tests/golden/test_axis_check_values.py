"""The axis fit, its covariance and the screws against numbers worked out elsewhere.

The covariance factors, the Jacobian and the noise figures were obtained twice, in closed form and from exact vectors
with Monte Carlo, when the method was laid down; the error components are exact spherical trigonometry.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

from axis_sky import ARCSEC
from polewright.core.angles import separation_rad
from polewright.core.axis.accuracy import FrameNoise, axis_covariance, axis_sigma_rad, screw_sigmas_rad, screw_slopes
from polewright.core.axis.fit import across, chi2_survival, fit_axis, rotation_angles, shared_axis
from polewright.core.axis.following_motion import screw_motion
from polewright.core.model import Atmosphere, FloatArray, Site, TargetPole
from polewright.core.sky.places import horizontal_to_enu, offset_from_pole, pole_enu

POLE_40 = horizontal_to_enu(0.0, np.radians(40.0))


def mount_frames(axis: FloatArray, rho_deg: float, turns_deg: list[float]) -> FloatArray:
    """Attitudes of a camera `rho_deg` off a mount axis, at these angles, by scipy."""
    side = np.cross(axis, [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    z = np.cos(np.radians(rho_deg)) * axis + np.sin(np.radians(rho_deg)) * side
    x = np.cross(side, axis)
    base = np.stack([x, np.cross(z, x), z], axis=1)
    return np.stack([Rotation.from_rotvec(axis * np.radians(t)).as_matrix() @ base for t in turns_deg])


def test_two_exact_frames_give_the_axis() -> None:
    axis = horizontal_to_enu(np.radians(0.3), np.radians(39.8))
    frames = mount_frames(axis, 30.0, [0.0, 60.0])
    found, _ = shared_axis(frames, POLE_40)
    assert separation_rad(found, axis) < 1e-9
    fit = fit_axis(frames, np.tile(np.diag([1.0, 1.0, 6400.0]) * 1e-12, (2, 1, 1)), POLE_40)
    assert separation_rad(fit.axis_enu, axis) < 1e-9
    assert np.degrees(rotation_angles(frames, fit.axis_enu)) == pytest.approx([0.0, 60.0], abs=1e-9)


CASES = [  # turns, rho, factor of sp with sr = 80 sp
    ([0.0, 30.0, 60.0], 30.0, 9.1347),
    ([0.0, 45.0, 90.0], 30.0, 4.2774),
    ([0.0, 30.0, 60.0], 2.0, 4.0650),
    ([0.0, 60.0], 30.0, 56.5995),
    ([0.0, 60.0], 5.0, 10.061),
]


@pytest.mark.parametrize(("turns", "rho", "factor"), CASES)
def test_covariance_factors(turns: list[float], rho: float, factor: float) -> None:
    noise = FrameNoise(1.0, 80.0, np.radians(rho))
    assert axis_sigma_rad(np.radians(turns), noise) == pytest.approx(factor, abs=1e-3)
    sp = 1e-7
    covariances = np.tile(np.diag([1.0, 1.0, 6400.0]) * sp**2, (len(turns), 1, 1))
    fit = fit_axis(mount_frames(POLE_40, rho, turns), covariances, POLE_40)
    assert np.sqrt(np.trace(fit.axis_covariance_enu)) / sp == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(("span", "two_frames", "three_pointing"), [
    (30, 3.9, 36.0), (45, 2.6, 16.2), (60, 2.0, 9.25), (90, 1.41, 4.30), (120, 1.15, 2.58),
])  # fmt: skip
def test_rotation_span_decides(span: float, two_frames: float, three_pointing: float) -> None:
    """Two frames on the axis: sp / sin(D / 2). Three frames, pointing only: the plane through three directions."""
    on_axis = axis_sigma_rad(np.radians([0.0, span]), FrameNoise(1.0, 80.0, 0.0))
    assert on_axis == pytest.approx(1.0 / np.sin(np.radians(span) / 2.0), rel=1e-9)
    assert on_axis == pytest.approx(two_frames, abs=0.06)
    pointing = axis_sigma_rad(np.radians([0.0, span / 2.0, span]), FrameNoise(1.0, 1e6, np.radians(30.0)))
    assert pointing == pytest.approx(three_pointing, rel=0.012)


@pytest.mark.parametrize(("turns", "rho", "factor"), [CASES[0], CASES[2], CASES[4]])
def test_monte_carlo_scatter_is_what_the_formula_says(turns: list[float], rho: float, factor: float) -> None:
    rng, sp = np.random.default_rng(11), 1.5e-6
    frames = mount_frames(POLE_40, rho, turns)
    covariances = np.tile(np.diag([1.0, 1.0, 6400.0]) * sp**2, (len(turns), 1, 1))
    trials = 150
    square = 0.0
    for _ in range(trials):
        turned = Rotation.from_rotvec(rng.normal(0.0, 1.0, (len(turns), 3)) * [sp, sp, 80.0 * sp]).as_matrix()
        fit = fit_axis(frames @ turned, covariances, POLE_40)
        square += float(separation_rad(fit.axis_enu, POLE_40)) ** 2
    # an rms over 150 trials of two unequal components is good to 1 / sqrt(300) to 1 / sqrt(150): 8 % at most
    assert np.sqrt(square / trials) / sp == pytest.approx(factor, rel=0.25)


def test_formula_and_fit_agree_component_by_component() -> None:
    turns, rho, sp = [0.0, 20.0, 75.0, 80.0], 25.0, 2e-7
    covariances = np.tile(np.diag([1.0, 1.0, 50.0**2]) * sp**2, (4, 1, 1))
    fit = fit_axis(mount_frames(POLE_40, rho, turns), covariances, POLE_40)
    formula = axis_covariance(np.radians(turns), FrameNoise(sp, 50.0 * sp, np.radians(rho)))
    side = np.cross(POLE_40, [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    basis = np.stack([side, np.cross(POLE_40, side)])
    assert basis @ fit.axis_covariance_enu @ basis.T / sp**2 == pytest.approx(formula / sp**2, rel=1e-6)


def test_jacobian_of_the_screws() -> None:
    """A = 40, h = 50, axis at azimuth 0; its altitude does not matter for the first two columns."""
    slope = screw_slopes(np.radians(40.0), np.radians(50.0), np.radians(40.0))
    expected = np.array([[0.64279, 0.49240], [0.0, 0.76604], [-0.76604, 0.41318]])
    assert slope[:, :2] == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("bearing", "height"), [(40.0, 50.0), (-120.0, 20.0), (5.0, 80.0)])
def test_jacobian_is_the_derivative_of_exact_turns(bearing: float, height: float) -> None:
    """Finite differences of scipy rotations of a whole camera frame, the turn of the RA axis included."""
    altitude = np.radians(40.0)
    axis = horizontal_to_enu(0.0, altitude)
    look = horizontal_to_enu(np.radians(bearing), np.radians(height))
    azimuthward = horizontal_to_enu(np.radians(bearing + 90.0), 0.0)
    upward = np.cross(azimuthward, look) * -1.0
    upward = upward if upward[2] > 0.0 else -upward
    slope = screw_slopes(np.radians(bearing), np.radians(height), altitude)
    for column, vector in enumerate(([0.0, 0.0, -1.0], [1.0, 0.0, 0.0], axis)):
        turned = Rotation.from_rotvec(np.asarray(vector) * 1e-6)
        moved = turned.apply(look) - look
        roll = turned.apply(azimuthward) @ upward
        side = float(np.sign(np.cross(azimuthward, upward) @ look))
        found = np.array([moved @ azimuthward, moved @ upward, roll * side]) / 1e-6
        assert found == pytest.approx(slope[:, column], abs=3e-6)


@pytest.mark.parametrize(("bearing", "height", "east", "up"), [
    (0.0, 40.0, 1.0, 1.0), (0.0, 60.0, 1.5, 1.0), (180.0, 20.0, 0.82, 1.0), (180.0, 45.0, 1.08, 1.0),
    (45.0, 45.0, 1.3, 1.4), (60.0, 45.0, 1.7, 2.0), (80.0, 30.0, 2.7, 5.8),
])  # fmt: skip
def test_how_well_a_camera_position_shows_the_screws(bearing: float, height: float, east: float, up: float) -> None:
    """Latitude 40, pointing only, in units of sp."""
    sigma = screw_sigmas_rad(np.radians(bearing), np.radians(height), np.radians(40.0), FrameNoise(1.0, 1e5, 0.5))
    assert sigma == pytest.approx([east, up], rel=0.05)


def test_due_east_only_roll_shows_the_screws() -> None:
    """(43, 56) sp with sr = 80 sp; nothing without roll."""
    where = (np.radians(90.0), np.radians(45.0), np.radians(40.0))
    assert screw_sigmas_rad(*where, FrameNoise(1.0, 80.0, 0.5)) == pytest.approx([43.0, 56.0], rel=0.02)
    assert float(np.max(screw_sigmas_rad(*where, FrameNoise(1.0, 1e5, 0.5)))) > 1e4


def test_exact_inverse_of_large_screw_moves() -> None:
    """(-3, +2) degrees, recovered to 1e-9 rad from where the axis went."""
    axis = horizontal_to_enu(np.radians(0.7), np.radians(41.0))
    hinge = [np.cos(np.radians(0.7)), -np.sin(np.radians(0.7)), 0.0]
    raised = Rotation.from_rotvec(np.array(hinge) * np.radians(2.0))
    moved = (Rotation.from_rotvec([0.0, 0.0, np.radians(3.0)]) * raised).apply(axis)
    turn, bearing, height = screw_motion(axis, moved)
    assert (bearing, height) == pytest.approx(np.radians([-3.0, 2.0]), abs=1e-9)
    assert turn @ axis == pytest.approx(moved, abs=1e-12)


@pytest.mark.parametrize(
    ("azimuth", "altitude", "total"), [(10.0, 5.0, 9.1439), (30.0, -20.0, 30.508), (120.0, 60.0, 109.203)]
)
def test_error_components(azimuth: float, altitude: float, total: float) -> None:
    """Latitude 40, horizon and altitude errors in arcmin: exact total on the sky."""
    site, air = Site(40.0, 0.0), Atmosphere(0.0)
    pole = pole_enu(site, air, TargetPole.TRUE)
    axis = horizontal_to_enu(np.radians(azimuth / 60.0), np.radians(40.0 + altitude / 60.0))
    east, up = offset_from_pole(axis, pole, site)
    assert np.hypot(east, up) / ARCSEC / 60.0 == pytest.approx(total, abs=1e-3)
    assert east > 0.0
    assert np.sign(up) == np.sign(altitude)


def test_azimuth_at_latitude_60_counts_half_on_the_sky() -> None:
    site, air = Site(60.0, 0.0), Atmosphere(0.0)
    axis = horizontal_to_enu(np.radians(20.0 / 60.0), np.radians(60.0))
    east, _ = offset_from_pole(axis, pole_enu(site, air, TargetPole.TRUE), site)
    assert east / ARCSEC / 60.0 == pytest.approx(10.0, abs=1e-3)


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 5, 8, 17])
def test_chi_square_against_scipy(dof: int) -> None:
    for value in (0.0, 0.3, 2.0, 11.0, 60.0, 900.0):
        assert chi2_survival(value, dof) == pytest.approx(float(chi2.sf(value, dof)), rel=1e-9, abs=1e-300)
    assert chi2_survival(3.0, 0) == 1.0


def test_a_basis_across_any_direction() -> None:
    rng = np.random.default_rng(2)
    poles = np.vstack([np.eye(3), -np.eye(3), [[0.05, 0.02, -0.99]], rng.normal(size=(200, 3))])
    for v in poles / np.linalg.norm(poles, axis=1, keepdims=True):
        basis = across(v)
        assert np.column_stack([basis, v]).T @ np.column_stack([basis, v]) == pytest.approx(np.eye(3), abs=1e-12)
        assert np.cross(v, basis[:, 0]) == pytest.approx(basis[:, 1], abs=1e-12)
