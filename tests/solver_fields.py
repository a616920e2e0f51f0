"""Seeded star fields with known truth for the solver.

The stars come from the program's catalogue with errors added: 0.15 arcsec in place, 0.35 mag in brightness (another
colour band), 10 % missing, spurious ones as bright as stars, 0.3 px of centroid noise, scale off by up to 3 %, any
roll, half of the fields mirrored.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD, separation_rad
from polewright.core.camera import vector_to_pixel
from polewright.core.model import Camera, FloatArray, PlateSolution, StarList
from polewright.core.sky.catalogue import Catalogue

EPOCH_YEAR = 2026.9
PLACE_ERROR_ARCSEC = 0.15
BAND_SCATTER_MAG = 0.35


@dataclass(frozen=True)
class FieldRecipe:
    """What a field is like. `limit_stars` is the most real stars the camera sees (the brightest)."""

    width_deg: float
    spurious: int = 20
    faint_strays: int = 0  # fainter than every catalogue star
    missing: float = 0.10
    noise_px: float = 0.3
    scale_error: float = 0.03
    limit_stars: int = 60
    fewest_catalogue_stars: int = 12
    width_px: int = 1280
    height_px: int = 960
    k1: float = 0.0


@dataclass(frozen=True, eq=False)
class Field:
    """A star list, its truth, and the scale a user would state."""

    stars: StarList
    camera: Camera
    camera_to_sky: FloatArray
    stated_scale_arcsec_px: float
    catalogue_stars: int
    real: int


def star_list(x: FloatArray, y: FloatArray, sigma: float, width: int, height: int) -> StarList:
    """A plain list, brightest first."""
    n = x.size
    ones = np.ones(n)
    return StarList(
        width,
        height,
        x,
        y,
        ones * sigma,
        np.linspace(2.0, 1.0, n) * 1e4,
        ones * 30,
        ones * 3,
        np.zeros(n, dtype=np.int64),
    )


def random_attitude(rng: np.random.Generator, near: FloatArray | None = None) -> FloatArray:
    """Uniform over the sky and in roll, or pointing at `near` (3,)."""
    z = rng.normal(size=3) if near is None else near
    z = z / np.linalg.norm(z)
    x = np.cross(z, rng.normal(size=3))
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=1)


def make_field(
    catalogue: Catalogue, recipe: FieldRecipe, rng: np.random.Generator, near: FloatArray | None = None
) -> Field | None:
    """One field, or None when it has fewer catalogue stars than the recipe asks for."""
    focal = recipe.width_px / 2.0 / np.tan(np.radians(recipe.width_deg) / 2.0)
    camera = Camera(recipe.width_px, recipe.height_px, focal, bool(rng.integers(2)), recipe.k1)
    camera_to_sky = random_attitude(rng, near)
    radius = np.arctan(np.hypot(recipe.width_px, recipe.height_px) / 2.0 / focal) * 1.05
    index = catalogue.around(camera_to_sky[:, 2], radius, 40 * recipe.limit_stars)
    v = catalogue.vectors_at(EPOCH_YEAR, index)
    v = v + rng.normal(size=v.shape) * PLACE_ERROR_ARCSEC / ARCSEC_PER_RAD
    x, y = vector_to_pixel(camera, v @ camera_to_sky)
    inside = (x > 0) & (x < recipe.width_px - 1) & (y > 0) & (y < recipe.height_px - 1)
    count = int(inside.sum())
    if count < recipe.fewest_catalogue_stars:
        return None
    magnitude = catalogue.magnitude[index] + rng.normal(size=index.size) * BAND_SCATTER_MAG
    order = np.argsort(magnitude)
    order = order[inside[order]][: recipe.limit_stars]
    order = order[rng.random(order.size) >= recipe.missing]
    x, y, magnitude = x[order], y[order], magnitude[order]
    x = np.concatenate(
        [x + rng.normal(size=x.size) * recipe.noise_px, rng.uniform(0, recipe.width_px, recipe.spurious)]
    )
    y = np.concatenate(
        [y + rng.normal(size=y.size) * recipe.noise_px, rng.uniform(0, recipe.height_px, recipe.spurious)]
    )
    strays = rng.choice(magnitude, recipe.spurious) if magnitude.size else np.ones(recipe.spurious)
    x = np.concatenate([x, rng.uniform(0, recipe.width_px, recipe.faint_strays)])
    y = np.concatenate([y, rng.uniform(0, recipe.height_px, recipe.faint_strays)])
    strays = np.concatenate([strays, np.full(recipe.faint_strays, 99.0)])
    by_light = np.argsort(np.concatenate([magnitude, strays]), kind="stable")
    stars = star_list(x[by_light], y[by_light], recipe.noise_px, recipe.width_px, recipe.height_px)
    stated = camera.scale_arcsec_px * (1.0 + rng.uniform(-1, 1) * recipe.scale_error)
    return Field(stars, camera, camera_to_sky, stated, count, order.size)


def error_px(field: Field, solution: PlateSolution) -> float:
    """Distance of the solved image centre from the truth, px."""
    away = separation_rad(solution.attitude_icrs.camera_to_sky[:, 2], field.camera_to_sky[:, 2])
    return float(away) * field.camera.focal_px


def is_right(field: Field, solution: PlateSolution) -> bool:
    """Centre within 3 px, the right parity, scale within 1 %."""
    scale = solution.scale_arcsec_px / field.camera.scale_arcsec_px
    return error_px(field, solution) < 3.0 and solution.mirrored == field.camera.mirrored and abs(scale - 1.0) < 0.01
