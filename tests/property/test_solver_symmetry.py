"""Turning or mirroring the picture turns or mirrors the solution, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from polewright.core.angles import wrap_pi
from polewright.core.matching.hint import SolveHint
from polewright.core.model import PlateSolution, StarList
from sky_solver import shared_catalogue, shared_solver
from solver_fields import EPOCH_YEAR, Field, FieldRecipe, make_field


@cache
def field(seed: int) -> Field:
    rng = np.random.default_rng(seed)
    made = None
    while made is None:
        made = make_field(shared_catalogue(), FieldRecipe(4.0, width_px=1000, height_px=1000), rng)
    return made


def solved(stars: StarList, scale: float) -> PlateSolution:
    got = shared_solver().solve(stars, EPOCH_YEAR, SolveHint(scale))
    assert isinstance(got, PlateSolution)
    return got


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 5), angle_deg=st.floats(-180.0, 180.0), mirror=st.booleans())
def test_turned_and_mirrored_pictures(seed: int, angle_deg: float, mirror: bool) -> None:
    f = field(seed)
    # only stars that stay within the square picture at any turn
    x, y = f.stars.x_px - 499.5, f.stars.y_px - 499.5
    kept = np.hypot(x, y) < 499.0
    x, y = x[kept], y[kept]
    base = replace(
        f.stars,
        **{n: getattr(f.stars, n)[kept] for n in ("x_px", "y_px", "sigma_px", "flux_adu", "snr", "fwhm_px", "flags")},
    )
    a = np.radians(angle_deg)
    # the picture is turned clockwise on the screen (y runs down) by the angle, then mirrored left to right
    turned_x, turned_y = np.cos(a) * x - np.sin(a) * y, np.sin(a) * x + np.cos(a) * y
    if mirror:
        turned_x = -turned_x
    turned = replace(base, x_px=turned_x + 499.5, y_px=turned_y + 499.5)
    one, two = solved(base, f.stated_scale_arcsec_px), solved(turned, f.stated_scale_arcsec_px)
    assert two.mirrored == (one.mirrored ^ mirror)
    assert two.scale_arcsec_px == pytest.approx(one.scale_arcsec_px, rel=1e-5)
    boresight = one.attitude_icrs.camera_to_sky[:, 2] - two.attitude_icrs.camera_to_sky[:, 2]
    assert np.linalg.norm(boresight) * 206265.0 < 0.1 * one.scale_arcsec_px
    # image up of the new picture was, in the old one, turned counter-clockwise from up by the angle: towards east on
    # a picture that shows the sky as the eye sees it, away from it on a mirrored one
    expected = -a if one.mirrored else a
    change = np.radians(two.position_angle_deg - one.position_angle_deg)
    assert abs(float(wrap_pi(change - expected))) < 1e-3
