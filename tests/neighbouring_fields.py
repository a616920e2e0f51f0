"""Pairs of seeded frames of one field, as a long telescope sees them: few stars that a catalogue knows, many that
none does, strays, hot pixels that stay where they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import rotation_about
from polewright.core.attitude import rotation_vector
from polewright.core.camera import pixel_to_vector, vector_to_pixel
from polewright.core.matching.plate_fit import FitPlan, fit_plate
from polewright.core.model import Attitude, Camera, FloatArray, IntArray, MatchedStars, PlateSolution, StarList
from solver_fields import random_attitude, star_list

WIDTH_PX, HEIGHT_PX = 1280, 960
FIELD_DEG = 0.35
_SPREAD = 2.5  # frame widths over which there are stars
_HOT_NOISE_PX = 0.1


@dataclass(frozen=True)
class SkyRecipe:
    """Stars to a frame, and what spoils it. `missing` is the share of stars that a frame loses."""

    known: int = 7
    unknown: int = 50
    strays: int = 10
    hot: int = 30
    missing: float = 0.2
    noise_px: float = 0.3


class Sky:
    """One field under one camera; every frame of it has its own noise, its losses, its strays."""

    def __init__(self, recipe: SkyRecipe, rng: np.random.Generator) -> None:
        self.recipe, self.rng = recipe, rng
        focal = WIDTH_PX / 2.0 / np.tan(np.radians(FIELD_DEG) / 2.0)
        self.camera = Camera(WIDTH_PX, HEIGHT_PX, float(focal), bool(rng.integers(2)))
        self.attitude = random_attitude(rng)
        count, area = recipe.known + recipe.unknown, _SPREAD**2
        place = (rng.random((int(count * area), 2)) - 0.5) * _SPREAD + 0.5
        self.stars = pixel_to_vector(self.camera, place[:, 0] * WIDTH_PX, place[:, 1] * HEIGHT_PX) @ self.attitude.T
        self.known = np.arange(len(self.stars)) < recipe.known * area  # the brightest
        self.hot = rng.random((recipe.hot, 2)) * [WIDTH_PX, HEIGHT_PX]

    def moved(self, px: float, turn_rad: float = 0.0) -> FloatArray:
        """The attitude after the field moved by so many pixels in any direction, and turned."""
        angle = self.rng.uniform(0.0, 2.0 * np.pi)
        tilt = rotation_about(np.array([np.cos(angle), np.sin(angle), 0.0]), px / self.camera.focal_px)
        return np.asarray(self.attitude @ tilt @ rotation_about(np.array([0.0, 0.0, 1.0]), turn_rad))

    def seen(self, attitude: FloatArray, most_stars: int | None = None) -> tuple[StarList, IntArray]:
        """The list of a frame, and which star each entry is, -1 for none; with `most_stars`, so many alone."""
        rng, recipe = self.rng, self.recipe
        x, y = vector_to_pixel(self.camera, self.stars @ attitude)
        inside = (x > 0) & (x < WIDTH_PX - 1) & (y > 0) & (y < HEIGHT_PX - 1) & (rng.random(x.size) > recipe.missing)
        index = np.flatnonzero(inside)[:most_stars]
        places = np.column_stack([x[index], y[index]]) + rng.normal(size=(index.size, 2)) * recipe.noise_px
        strays = rng.random((recipe.strays, 2)) * [WIDTH_PX, HEIGHT_PX]
        hot = self.hot + rng.normal(size=self.hot.shape) * _HOT_NOISE_PX
        light = np.concatenate(
            [1.0 - index / len(self.stars) + 0.05 * rng.normal(size=index.size), rng.random(len(strays) + len(hot))]
        )
        order = np.argsort(-light)
        xy = np.concatenate([places, strays, hot])[order]
        which = np.concatenate([index, np.full(len(strays) + len(hot), -1)])[order]
        return star_list(xy[:, 0], xy[:, 1], recipe.noise_px, WIDTH_PX, HEIGHT_PX), which

    def solved(self) -> tuple[StarList, PlateSolution] | None:
        """A first frame with the solution that its known stars give; None when it shows too few of them."""
        stars, which = self.seen(self.attitude)
        known = (which >= 0) & self.known[which]
        if known.sum() < 4:
            return None
        x, y, sigma = stars.x_px[known], stars.y_px[known], stars.sigma_px[known]
        icrs = self.stars[which[known]]
        fit = fit_plate(self.camera, self.attitude, x, y, sigma, icrs, FitPlan(0, self.camera.focal_px, 0.002))
        residual = fit.residual_px * fit.camera.scale_arcsec_px
        count = int(known.sum())
        matched = MatchedStars(x, y, sigma, icrs, which[known], np.full(count, 10.0), residual)
        attitude = Attitude(fit.camera_to_sky, fit.covariance[:3, :3])
        return stars, PlateSolution(attitude, fit.camera, matched, len(stars), 0.3, 30.0, "hint")


def error_in_sigmas(solution: PlateSolution, attitude: FloatArray) -> FloatArray:
    """(3,) the rotation from the solution to the truth, in stated sigmas of each camera axis."""
    error = rotation_vector(solution.attitude_icrs.camera_to_sky.T @ attitude)
    return np.asarray(error / np.sqrt(np.diag(solution.attitude_icrs.covariance_rad2)))


def off_px(solution: PlateSolution, attitude: FloatArray) -> float:
    """How far the solved boresight lies from the true one, px."""
    away = np.linalg.norm(solution.attitude_icrs.camera_to_sky[:, 2] - attitude[:, 2])
    return float(away * solution.camera.focal_px)
