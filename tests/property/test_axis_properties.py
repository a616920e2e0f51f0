"""A simulated mount error comes back within its sigma: any latitude, any rotation, tracking or not, any camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from axis_sky import ARCSEC, Rig, observed
from polewright.core.axis.estimate import estimate_axis, sky_frame
from polewright.core.axis.following import follow, start_following
from polewright.core.model import Atmosphere, AxisEstimate, Camera, Site, TargetPole

ARCMIN = 60.0 * ARCSEC
CAMERAS = [
    Camera(1280, 960, 48000.0),
    Camera(1280, 960, 48000.0, mirrored=True),
    Camera(3000, 2000, 4500.0, k1=0.02),
    Camera(4000, 3000, 260000.0),
]

rigs = st.builds(
    Rig,
    site=st.builds(Site, st.floats(-89.0, 89.0), st.floats(-180.0, 180.0), st.floats(0.0, 3000.0)),
    east_arcmin=st.floats(-120.0, 120.0),
    up_arcmin=st.floats(-120.0, 120.0),
    rho_deg=st.floats(1.0, 80.0),
    hour_deg=st.floats(-120.0, 30.0),
    roll_deg=st.floats(-180.0, 180.0),
    tracking=st.booleans(),
    air=st.builds(Atmosphere, st.floats(0.0, 1040.0), st.floats(-20.0, 30.0)),
    camera=st.sampled_from([c for c in CAMERAS if c.k1 == 0.0]),
    noise_px=st.just(0.2),
)


def above(rig: Rig, turns: list[float], degrees: float) -> bool:
    return all(rig.attitude(turn)[2, 2] > np.sin(np.radians(degrees)) for turn in turns)


@settings(max_examples=25, deadline=None)
@given(rig=rigs, span=st.floats(15.0, 110.0), count=st.integers(2, 5), seed=st.integers(0, 2**31))
def test_the_axis_comes_back_within_its_sigma(rig: Rig, span: float, count: int, seed: int) -> None:
    turns = list(np.linspace(0.0, span, count))
    assume(above(rig, turns, 15.0))
    assume(abs(rig.site.lat_deg) > 5.0)  # nearer the horizon the refracted pole means nothing
    frames = [
        sky_frame(n, u, rig.site, rig.air, s, 30.0) for n, u, s in rig.capture(turns, np.random.default_rng(seed))
    ]
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    error = np.array([found.east_rad, found.up_rad]) - np.array([rig.east_arcmin, rig.up_arcmin]) * ARCMIN
    # model differences of the two refraction formulas and light deflection: 0.05 arcsec, on top of chi-square
    allowed = found.covariance_rad2 + np.eye(2) * (0.05 * ARCSEC) ** 2
    assert error @ np.linalg.solve(allowed, error) < 30.0  # five sigma: once in 3 million
    assert np.all(np.linalg.eigvalsh(found.covariance_rad2) > 0.0)


@settings(max_examples=10, deadline=None)
@given(
    rig=rigs,
    moves=st.lists(st.tuples(st.floats(-3.0, 3.0), st.floats(-2.0, 2.0)), min_size=1, max_size=3),
    lean=st.tuples(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0)),
    seed=st.integers(0, 2**31),
)
def test_the_axis_is_followed_within_its_sigma(
    rig: Rig, moves: list[tuple[float, float]], lean: tuple[float, float], seed: int
) -> None:
    turns = [0.0, 45.0, 90.0]
    assume(above(rig, turns, 20.0))
    assume(8.0 < abs(rig.site.lat_deg) < 75.0)
    rng = np.random.default_rng(seed)
    frames = [sky_frame(n, u, rig.site, rig.air, s, 30.0) for n, u, s in rig.capture(turns, rng)]
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    state = start_following(found, frames)
    for k, move in enumerate(moves):
        utc = rig.start.plus_seconds(100.0 + 20.0 * k)
        mount = rig.screws(*move, *lean)
        attitude = mount @ rig.attitude(90.0, 100.0 + 20.0 * k)
        state, reading = follow(
            state, sky_frame(f"{k}", utc, rig.site, rig.air, rig.solution(attitude, utc, rng), 30.0)
        )
        assert reading.refused is None
        shift = state.pose.axis_enu - mount @ rig.axis
        allowed = state.pose.axis_covariance_enu + np.eye(3) * (0.1 * ARCSEC) ** 2
        assert shift @ np.linalg.solve(allowed, shift) < 32.0


def test_a_distorted_wide_lens_gives_the_axis_too() -> None:
    """Distortion that the solution carries is applied, and k1 of another sign would be noticed."""
    rig = Rig(Site(45.0, 5.0), 20.0, 15.0, rho_deg=20.0, hour_deg=-40.0, camera=CAMERAS[2], stars=60, noise_px=0.1)
    rng = np.random.default_rng(8)
    frames = []
    for name, utc, solution in rig.capture([0.0, 40.0, 80.0], rng):
        k = int(name[-1]) - 1
        attitude = rig.attitude(40.0 * k, 40.0 * k)
        seen = observed(solution.matched.icrs, utc, rig.site, rig.air) @ attitude
        u = seen[:, :2] / seen[:, 2:]
        bent = u.copy()
        for _ in range(30):  # u_undistorted = bent (1 + k1 |bent|^2), solved by repetition
            bent = u / (1.0 + rig.camera.k1 * np.sum(bent**2, axis=1, keepdims=True))
        px = bent * rig.camera.focal_px + [(rig.camera.width_px - 1) / 2.0, (rig.camera.height_px - 1) / 2.0]
        px += rng.normal(0.0, 0.1, px.shape)
        matched = replace(solution.matched, x_px=px[:, 0], y_px=px[:, 1])
        frames.append(sky_frame(name, utc, rig.site, rig.air, replace(solution, matched=matched), 30.0))
    found = estimate_axis(frames, rig.site, rig.air, TargetPole.REFRACTED)
    assert isinstance(found, AxisEstimate)
    assert (found.east_rad / ARCMIN, found.up_rad / ARCMIN) == pytest.approx((20.0, 15.0), abs=0.3)
    assert found.suspect is None
