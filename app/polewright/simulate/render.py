"""One exposure: stars, sky, dark current, cosmic rays and satellites, with every noise a cheap camera has."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray
from polewright.simulate.camera import CameraSpec, digitise, sensor_of
from polewright.simulate.light import Blur, add_stars


@dataclass(frozen=True)
class SkyGlow:
    """Sky light over the frame, as fractions of its mean: a slope (right, down) and a soft cloud of light."""

    slope_right: float = 0.0
    slope_down: float = 0.0
    patch: float = 0.0
    patch_x: float = 0.5
    patch_y: float = 0.5
    patch_radius: float = 0.35


@dataclass(frozen=True)
class Streak:
    """A satellite: a line through (x_px, y_px), `electrons_px` per pixel of its length, blurred like a star."""

    x_px: float
    y_px: float
    angle_rad: float
    electrons_px: float


@dataclass(frozen=True, eq=False)
class Scene:
    """What reaches the sensor in one exposure. Positions (S, N) at S moments, electrons (N,) in all."""

    exposure_s: float
    x_px: FloatArray
    y_px: FloatArray
    star_electrons: FloatArray
    blur: Blur
    sky_electrons_px: float
    glow: SkyGlow = field(default_factory=SkyGlow)
    streak: Streak | None = None
    cosmic_rays: float = 0.0  # how many to expect


def render(camera: CameraSpec, scene: Scene, rng: np.random.Generator) -> NDArray[np.uint16] | NDArray[np.uint8]:
    """The frame (height, width), row 0 at the top, as the camera would deliver it; the same for the same `rng`."""
    sensor = sensor_of(camera)
    image = _sky(camera, scene)
    noise_e = np.hypot(camera.read_noise_e, np.sqrt(max(scene.sky_electrons_px, 0.0)))
    add_stars(image, scene.x_px, scene.y_px, scene.star_electrons, scene.blur, 0.02 * float(noise_e))
    if scene.streak is not None:
        _add_streak(image, scene.streak, scene.blur.fwhm_px)
    image *= sensor.sensitivity
    image += sensor.dark_e_s * np.float32(scene.exposure_s)
    _add_noise(image, camera, rng)
    _add_cosmic_rays(image, scene.cosmic_rays, rng)
    return digitise(camera, image)


def _sky(camera: CameraSpec, scene: Scene) -> NDArray[np.float32]:
    glow = scene.glow
    x = np.linspace(0.0, 1.0, camera.width_px, dtype=np.float32)[None, :]
    y = np.linspace(0.0, 1.0, camera.height_px, dtype=np.float32)[:, None]
    level = (1.0 + glow.slope_right * (x - 0.5)) + glow.slope_down * (y - 0.5)
    if glow.patch:
        width2 = 2.0 * glow.patch_radius**2
        level += (
            glow.patch * np.exp(-((y - glow.patch_y) ** 2) / width2) * np.exp(-((x - glow.patch_x) ** 2) / width2)
        )
    level *= np.float32(scene.sky_electrons_px)
    return np.maximum(level, np.float32(0.0))


def _add_noise(image: NDArray[np.float32], camera: CameraSpec, rng: np.random.Generator) -> None:
    """Shot and read noise at once: a normal value, skewed as the Poisson law is (Cornish & Fisher, 1938)."""
    z = rng.standard_normal(image.shape, dtype=np.float32)
    spread = np.sqrt(image + np.float32(camera.read_noise_e**2))
    spread *= z
    np.square(z, out=z)
    z -= np.float32(1.0)
    z *= np.float32(1.0 / 6.0)
    image += spread
    image += z
    if camera.row_noise_e:
        image += camera.row_noise_e * rng.standard_normal((image.shape[0], 1), dtype=np.float32)


def _add_streak(image: NDArray[np.float32], streak: Streak, fwhm_px: float) -> None:
    """One point every half pixel along the line, as far as it crosses the frame."""
    height, width = image.shape
    reach = np.hypot(width, height)
    along = np.arange(-reach, reach, 0.5)
    x, y = streak.x_px + along * np.cos(streak.angle_rad), streak.y_px + along * np.sin(streak.angle_rad)
    near = (x > -20) & (x < width + 20) & (y > -20) & (y < height + 20)
    light = np.full(int(near.sum()), 0.5 * streak.electrons_px)
    add_stars(image, x[None, near], y[None, near], light, Blur(fwhm_px), 0.02)


def _add_cosmic_rays(image: NDArray[np.float32], expected: float, rng: np.random.Generator) -> None:
    """Short tracks, sharp as no star is; energy and length are drawn."""
    height, width = image.shape
    for _ in range(int(rng.poisson(expected))):
        x, y = rng.uniform(0, width), rng.uniform(0, height)
        angle, length = rng.uniform(0, 2.0 * np.pi), rng.exponential(3.0) + 0.5
        energy = 400.0 * float(np.exp(rng.normal(0.5, 0.8)))
        steps = np.arange(0.0, length, 0.5)
        columns = np.clip(np.rint(x + steps * np.cos(angle)).astype(int), 0, width - 1)
        rows = np.clip(np.rint(y + steps * np.sin(angle)).astype(int), 0, height - 1)
        np.add.at(image, (rows, columns), np.float32(energy / steps.size))
