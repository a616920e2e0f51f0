"""What the solver says: rates on seeded fields, few stars with hints, noise, wrong scales, and its sentences.

Reduced runs; tests/bench/solver_rates.py and solver_false_alarms.py make the full ones.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from unittest.mock import Mock

import numpy as np
import pytest

from polewright.core.matching import verdict
from polewright.core.matching.evidence import ACCEPTED_LOG_ODDS
from polewright.core.matching.growth import grow
from polewright.core.matching.hint import SolveHint
from polewright.core.matching.quad_search import quads_asked
from polewright.core.matching.work import FieldsTried, SolverWork
from polewright.core.model import Camera, FloatArray, IntArray, PlateSolution, SkyPosition
from polewright.core.star_trouble import CapOn, TooFewStars
from polewright.core.unsolved import NoMatch, ScaleUnknown, ThinCatalogue, TooWide, Unsolved
from polewright.services import solver
from polewright.services.solver import Solver
from sky_solver import shared_catalogue, shared_solver
from solver_fields import EPOCH_YEAR, Field, FieldRecipe, error_px, is_right, make_field, star_list


def fields(recipe: FieldRecipe, count: int, seed: int, near: FloatArray | None = None) -> list[Field]:
    rng = np.random.default_rng(seed)
    made: list[Field] = []
    while len(made) < count:
        field = make_field(shared_catalogue(), recipe, rng, near)
        if field is not None:
            made.append(field)
    return made


def position(v: FloatArray) -> SkyPosition:
    return SkyPosition(float(np.degrees(np.arctan2(v[1], v[0])) % 360.0), float(np.degrees(np.arcsin(v[2]))))


@pytest.mark.parametrize(
    "width_deg",
    [
        pytest.param(0.5, marks=pytest.mark.slow),
        pytest.param(1.0, marks=pytest.mark.slow),
        pytest.param(1.5, marks=pytest.mark.slow),
        pytest.param(2.5, marks=pytest.mark.slow),
        4.0,
        8.0,
        40.0,
    ],
)
def test_blind_over_the_whole_sky(width_deg: float) -> None:
    """10 % missing, 20 spurious, 0.3 px, scale off up to 3 %, any roll, half mirrored: at most 1 of 40 unsolved."""
    solved = 0
    for field in fields(FieldRecipe(width_deg), 40, int(10 * width_deg)):
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
        if isinstance(got, PlateSolution):
            assert is_right(field, got), f"{error_px(field, got):.1f} px off, log odds {got.log_odds:.1f}"
            solved += 1
    assert solved >= 39


@pytest.mark.parametrize("dec", [1.0, -1.0])
def test_at_the_celestial_poles(dec: float) -> None:
    for field in fields(FieldRecipe(4.0), 5, 7, np.array([0.01, 0.005, dec])):
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
        assert isinstance(got, PlateSolution) and is_right(field, got)


@pytest.mark.parametrize("k1", [-0.15, 0.12])
def test_radial_distortion_is_fitted(k1: float) -> None:
    """A 30 degree lens with 1.1 to 1.4 % of distortion at the corner; residuals fall to the noise."""
    for field in fields(FieldRecipe(30.0, k1=k1, spurious=5), 5, 8):
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
        assert isinstance(got, PlateSolution) and is_right(field, got)
        assert got.camera.k1 == pytest.approx(k1, abs=0.02)
        assert got.rms_arcsec / got.scale_arcsec_px < 0.4


@pytest.mark.parametrize(("real", "spurious", "least"), [(4, 0, 13), (5, 0, 13), (5, 5, 13), (6, 5, 14), (8, 5, 15)])
def test_few_stars_decide_with_camera_and_pointing_known(real: int, spurious: int, least: int) -> None:
    recipe = FieldRecipe(2.5, spurious=spurious, limit_stars=real, missing=0.0)
    solved = 0
    for field in fields(recipe, 15, 9):
        hint = SolveHint(camera=field.camera, near=position(field.camera_to_sky[:, 2]), near_radius_deg=2.0)
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, hint)
        if isinstance(got, PlateSolution):
            assert error_px(field, got) < 8.0
            solved += 1
    assert solved >= least


def test_declination_ring_finds_six_stars() -> None:
    for field in fields(FieldRecipe(8.0, spurious=2, limit_stars=6, missing=0.0), 6, 10):
        dec = float(np.degrees(np.arcsin(field.camera_to_sky[2, 2])))
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(camera=field.camera, declination_deg=dec))
        assert isinstance(got, PlateSolution) and error_px(field, got) < 8.0


def test_unknown_scale_and_progress() -> None:
    said: list[tuple[SolverWork, float]] = []
    for field in fields(FieldRecipe(5.0, spurious=5), 1, 11):
        got = shared_solver().solve(field.stars, EPOCH_YEAR, SolveHint(), lambda what, f: said.append((what, f)))
        assert isinstance(got, PlateSolution) and is_right(field, got)
        assert got.path == "any scale" and got.warnings == ()
    assert said and all(0.0 <= fraction <= 1.0 for _, fraction in said)


def test_a_search_of_all_scales_has_its_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small picture full of stars resembles anything: 297 candidates were fitted, of 1,850 quads to a question."""
    fitted, asked = Mock(wraps=grow), list[int]()

    def noted(*args: Any) -> IntArray:
        quads = quads_asked(*args)
        asked.append(len(quads))
        return quads

    monkeypatch.setattr(verdict, "grow", fitted)
    monkeypatch.setattr(solver, "quads_asked", noted)
    rng = np.random.default_rng(3)
    crowd = star_list(rng.uniform(0, 100, 60), rng.uniform(0, 80, 60), 0.3, 100, 80)
    assert isinstance(shared_solver().solve(crowd, EPOCH_YEAR, SolveHint()), Unsolved)
    assert max(asked) <= 1500 and fitted.call_count < 150


def test_narrower_fields_than_asked_for_are_not_tried() -> None:
    """The middle of a frame is looked at for the sake of wide lenses alone."""
    said: list[SolverWork] = []
    rng = np.random.default_rng(14)
    stars = star_list(rng.uniform(0, 640, 60), rng.uniform(0, 480, 60), 0.3, 640, 480)
    hint = SolveHint(narrowest_field_deg=10.8, thorough=False)
    shared_solver().solve(stars, EPOCH_YEAR, hint, lambda what, _: said.append(what))
    widths = [what.width_deg for what in said if isinstance(what, FieldsTried)]
    assert len(widths) > 4 and min(widths) >= 10.8


def test_a_field_without_catalogue_stars_is_not_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """27 arcseconds: the densest place of the catalogue has fewer stars there than a pattern needs."""
    rng = np.random.default_rng(15)
    stars = star_list(rng.uniform(0, 1024, 200), rng.uniform(0, 1024, 200), 0.3, 1024, 1024)
    monkeypatch.setattr(Solver, "_search", lambda *_: pytest.fail("searched"))
    hint = SolveHint(0.0265, near=SkyPosition(210.0, 54.0))
    got = shared_solver(False).solve(stars, EPOCH_YEAR, hint)
    assert isinstance(got, Unsolved) and isinstance(got.why, ThinCatalogue)


def test_a_wrong_focal_length_is_named_in_numbers() -> None:
    (field,) = fields(FieldRecipe(3.0, spurious=5), 1, 12)
    true = field.camera.scale_arcsec_px
    got = shared_solver().solve(field.stars, EPOCH_YEAR, SolveHint(true * 1.4))
    assert isinstance(got, PlateSolution) and is_right(field, got)
    (warning,) = got.warnings
    assert warning == (
        f"The frame fits a scale of {got.scale_arcsec_px:.2f} arcsec/px, not {true * 1.4:.2f}:"
        " check the focal length, the pixel size and the binning."
    )


def test_noise_is_never_solved() -> None:
    rng = np.random.default_rng(13)
    for _ in range(30):
        n = int(rng.integers(4, 40))
        stars = star_list(rng.uniform(0, 1280, n), rng.uniform(0, 960, n), 0.3, 1280, 960)
        camera = Camera(1280, 960, float(640.0 / np.tan(np.radians(rng.choice([4.0, 8.0, 20.0])) / 2.0)))
        v = rng.normal(size=3)
        near = position(v / np.linalg.norm(v))
        got = shared_solver(False).solve(stars, EPOCH_YEAR, SolveHint(camera=camera, near=near, near_radius_deg=2.0))
        assert isinstance(got, Unsolved) and got.stars_detected == n


def test_real_fields_at_a_wrong_scale_are_never_solved() -> None:
    for k, field in enumerate(fields(FieldRecipe(8.0), 12, 14)):
        off = (0.5, 0.7, 1.4, 2.0)[k % 4]
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(field.camera.scale_arcsec_px * off))
        assert isinstance(got, Unsolved)


def test_solution_is_complete_and_consistent() -> None:
    (field,) = fields(FieldRecipe(2.5), 1, 15)
    got = shared_solver().solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
    assert isinstance(got, PlateSolution)
    m = got.matched
    assert len(m) >= 0.8 * field.real and got.stars_detected == len(field.stars)
    assert got.log_odds > ACCEPTED_LOG_ODDS and got.path == "whole sky"
    np.testing.assert_allclose(np.linalg.det(got.attitude_icrs.camera_to_sky), 1.0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(m.icrs, axis=1), 1.0, atol=1e-12)
    assert m.residual_arcsec.shape == (len(m), 2) and m.sigma_px.shape == (len(m),)
    assert len(np.unique(m.catalogue_index)) == len(m)
    assert got.rms_arcsec == pytest.approx(float(np.sqrt(np.mean(m.residual_arcsec**2))))


def test_covariance_of_solutions_is_honest() -> None:
    """Attitude errors over 60 whole solutions: normalised squares average 1 per dimension, within 25 %."""
    from polewright.core.attitude import rotation_vector

    squares = []
    for field in fields(FieldRecipe(4.0, spurious=5), 60, 16):
        got = shared_solver(False).solve(field.stars, EPOCH_YEAR, SolveHint(field.stated_scale_arcsec_px))
        assert isinstance(got, PlateSolution)
        eps = rotation_vector(got.attitude_icrs.camera_to_sky.T @ field.camera_to_sky)
        squares.append(eps @ np.linalg.solve(got.attitude_icrs.covariance_rad2, eps) / 3.0)
    assert np.mean(squares) == pytest.approx(1.0, abs=0.25)


@pytest.mark.parametrize(
    ("count", "hint", "why"),
    [
        (0, SolveHint(10.0), TooFewStars(None, 0, 0)),
        (1, SolveHint(10.0), TooFewStars(None, 0, 1, 8, 0.0)),
        (3, SolveHint(10.0), TooFewStars(None, 0, 3, 8, 0.0)),
        (5, SolveHint(), ScaleUnknown(5, 8)),
        (5, SolveHint(10.0), TooFewStars(None, 0, 5, 8, 0.0)),
        (20, SolveHint(camera=Camera(1280, 960, 20626.5)), NoMatch(20, 206264.80624709636 / 20626.5, learned=True)),
    ],
)
def test_refusals_have_a_reason(count: int, hint: SolveHint, why: object) -> None:
    rng = np.random.default_rng(17)
    stars = star_list(rng.uniform(0, 1280, count), rng.uniform(0, 960, count), 0.3, 1280, 960)
    assert shared_solver().solve(stars, EPOCH_YEAR, hint) == Unsolved(why, count)  # type: ignore[arg-type]


def test_what_the_sensor_shows_leads() -> None:
    stars = replace(star_list(np.array([5.0]), np.array([5.0]), 0.3, 640, 480), trouble=CapOn(3.0))
    assert shared_solver().solve(stars, EPOCH_YEAR, SolveHint(10.0)) == Unsolved(CapOn(3.0), 1)


def about(value: float, within: float) -> Any:
    """Equal to every number so near."""
    return pytest.approx(value, abs=within)


def test_a_field_with_too_few_catalogue_stars_is_called_so() -> None:
    """46 stars to a square degree make 2 in a field of 0.25 x 0.19 degrees (SOURCES.md of the catalogue)."""
    rng = np.random.default_rng(11)
    stars = star_list(rng.uniform(0, 1280, 60), rng.uniform(0, 960, 60), 0.3, 1280, 960)
    got = shared_solver(False).solve(stars, EPOCH_YEAR, SolveHint(0.25 * 3600.0 / 1280.0))
    assert isinstance(got, Unsolved) and got.why == ThinCatalogue(60, about(0.25, 0.001), 2, 5)


def test_a_field_too_wide_to_be_drawn_straight_is_called_so() -> None:
    rng = np.random.default_rng(12)
    stars = star_list(rng.uniform(0, 1280, 60), rng.uniform(0, 960, 60), 0.3, 1280, 960)
    got = shared_solver(False).solve(stars, EPOCH_YEAR, SolveHint(420.0))
    assert isinstance(got, Unsolved) and got.why == TooWide(60, about(105.0, 1.0), 60.0)
