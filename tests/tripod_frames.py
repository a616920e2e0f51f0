"""Frames of a camera that stands still under the turning sky, exposed long: every star draws an arc about the pole.

Seeded fields of the program's catalogue with errors added (a third of a magnitude of another colour band, a tenth of
the stars missing); the truth is the attitude at the middle of the exposure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

import starfields as sf
from polewright.core.angles import rotation_about, separation_rad
from polewright.core.camera import vector_to_pixel
from polewright.core.model import Camera, FloatArray, Frame, PlateSolution, Sourced, Utc
from polewright.core.sky.catalogue import Catalogue
from solver_fields import BAND_SCATTER_MAG, EPOCH_YEAR

SIDEREAL_RAD_S = 2.0 * np.pi / 86164.1  # a turn in a sidereal day
NOISE_ADU, SKY_ADU, FWHM_PX = 12.0, 600.0, 2.6
POLE = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Tripod:
    """A camera without a mount: how wide it sees, where it looks, how long a star at the middle of the frame gets.

    `stars`: the brightest that are drawn; `faintest`: of them all, the signal of a trail over the noise under it.
    """

    width_deg: float
    trail_px: float
    dec_deg: float = 30.0
    stars: int = 120
    faintest: float = 6.0
    width_px: int = 1600
    height_px: int = 1200
    mirrored: bool = False

    @property
    def camera(self) -> Camera:
        focal = 0.5 * self.width_px / np.tan(np.radians(self.width_deg) / 2.0)
        return Camera(self.width_px, self.height_px, float(focal), self.mirrored)

    @property
    def exposure_s(self) -> float:
        """Long enough for a trail of that length at the middle of the frame."""
        return self.trail_px / (self.camera.focal_px * SIDEREAL_RAD_S * float(np.cos(np.radians(self.dec_deg))))


@dataclass(frozen=True, eq=False)
class Stood:
    """A frame and the attitude (3, 3), camera to ICRS, at the middle of its exposure."""

    frame: Frame
    camera_to_sky: FloatArray
    lengths_px: FloatArray  # of the arcs wholly in the frame, brightest first

    def error_px(self, got: PlateSolution) -> float:
        """How far off a solution has the middle of the frame."""
        away = separation_rad(got.attitude_icrs.camera_to_sky[:, 2], self.camera_to_sky[:, 2])
        return float(away) * got.camera.focal_px

    @staticmethod
    def sigma_px(got: PlateSolution) -> float:
        """One sigma of the same by its own word, across both axes."""
        return float(np.sqrt(np.trace(got.attitude_icrs.covariance_rad2[:2, :2]))) * got.camera.focal_px


def stood(catalogue: Catalogue, tripod: Tripod, rng: np.random.Generator) -> Stood:
    """The frame of one exposure."""
    camera_to_sky = _looking(tripod.dec_deg, rng)
    x, y, flux = _arcs(catalogue, tripod, camera_to_sky, rng)
    image = _drawn(x, y, flux, tripod) + SKY_ADU
    image += rng.normal(size=image.shape) * np.sqrt(NOISE_ADU**2 + np.maximum(image - SKY_ADU, 0.0))
    pixels: NDArray[np.uint16] = np.clip(np.rint(image), 0, 65535).astype(np.uint16)
    return Stood(
        Frame(
            "stood",
            pixels,
            Sourced(Utc(2461370.0, 0.4), "drawn"),
            exposure_s=Sourced(tripod.exposure_s, "drawn"),
        ),
        camera_to_sky,
        _whole(x, y, tripod),
    )


def _whole(x: FloatArray, y: FloatArray, tripod: Tripod) -> FloatArray:
    """Lengths (M,) of the arcs (stars, steps) that lie in the frame from end to end, px."""
    inside = ((x > 0) & (x < tripod.width_px) & (y > 0) & (y < tripod.height_px)).all(axis=1)
    return np.asarray(np.hypot(np.diff(x, axis=1), np.diff(y, axis=1)).sum(axis=1)[inside])


def _looking(dec_deg: float, rng: np.random.Generator) -> FloatArray:
    ra, dec = rng.uniform(0.0, 2.0 * np.pi), np.radians(dec_deg)
    z = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    x = np.cross(z, rng.normal(size=3))
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=1)


def _arcs(
    catalogue: Catalogue, tripod: Tripod, camera_to_sky: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places (stars, steps) along every arc, and the light of each star."""
    camera = tripod.camera
    radius = float(np.arctan(0.5 * np.hypot(camera.width_px, camera.height_px) / camera.focal_px)) * 1.05
    index = catalogue.around(camera_to_sky[:, 2], radius, 6 * tripod.stars)
    magnitude = catalogue.magnitude[index] + rng.normal(size=index.size) * BAND_SCATTER_MAG
    brightest = np.argsort(magnitude)[: int(1.6 * tripod.stars)]
    brightest = brightest[rng.random(brightest.size) > 0.1]
    icrs, magnitude = catalogue.vectors_at(EPOCH_YEAR, index[brightest]), magnitude[brightest]
    turn = tripod.exposure_s * SIDEREAL_RAD_S
    steps = (np.arange(max(3, int(3.0 * tripod.trail_px))) + 0.5) / max(3, int(3.0 * tripod.trail_px)) - 0.5
    v = np.stack([icrs @ rotation_about(POLE, float(-turn * s)).T for s in steps], axis=1)  # the sky goes west
    x, y = vector_to_pixel(camera, v @ camera_to_sky)
    snr = tripod.faintest * 10.0 ** (-0.4 * (magnitude - magnitude.max()))
    spread = np.sqrt(max(1.0, tripod.trail_px / FWHM_PX))  # the noise under a trail is that of so many stars
    return x, y, sf.flux_of(np.minimum(snr, 400.0), FWHM_PX, NOISE_ADU) * spread


def _drawn(x: FloatArray, y: FloatArray, flux: FloatArray, tripod: Tripod) -> FloatArray:
    """Light in pixels (H, W), blurred."""
    from scipy import ndimage

    image = np.zeros((tripod.height_px, tripod.width_px))
    light = np.broadcast_to((flux / x.shape[1])[:, None], x.shape)
    i, j = np.floor(x), np.floor(y)
    for dx in (0, 1):
        for dy in (0, 1):
            share = np.abs(1.0 - dx - (x - i)) * np.abs(1.0 - dy - (y - j)) * light
            column, row = i + dx, j + dy
            there = (column >= 0) & (column < tripod.width_px) & (row >= 0) & (row < tripod.height_px)
            np.add.at(image, (row[there].astype(int), column[there].astype(int)), share[there])
    return np.asarray(ndimage.gaussian_filter(image, FWHM_PX / sf.FWHM_PER_SIGMA))
