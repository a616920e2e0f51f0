"""Synthetic frames with stars at known places, and the nuisances that real frames bring. Everything is seeded.

Stars are Gaussians integrated over each pixel (error function, so the truth is exact for undersampled stars too).
The SNR of a star is flux / (sky noise x sqrt(4 pi) s), s the Gaussian width with the pixel's own width included: the
SNR of an optimal filter on pure sky noise (I. R. King, PASP 95, 163 (1983): 4 pi s^2 is the equivalent area).
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import Frame, Sourced, StarList

FWHM_PER_SIGMA = 2.0 * np.sqrt(2.0 * np.log(2.0))
Floats = NDArray[np.float64]


@dataclass
class Field:
    """A frame in the making: `image` float64 (H, W) and the true stars."""

    image: Floats
    noise_adu: float
    sky_adu: float
    rng: np.random.Generator
    x_px: Floats
    y_px: Floats
    snr: Floats

    def frame(
        self, dtype: type = np.uint16, saturation_adu: float | None = None, exposure_s: float | None = None
    ) -> Frame:
        """The frame as a file would give it, cut off at the ends of the pixel type."""
        image = self.image
        if np.dtype(dtype).kind != "f":
            image = np.clip(np.rint(image), 0, saturation_adu or np.iinfo(dtype).max)
        exposure = Sourced(exposure_s, "test") if exposure_s is not None else None
        return Frame("test", image.astype(dtype), None, exposure_s=exposure, saturation_adu=saturation_adu)


def pixel_integral(first: int, stop: int, centre: float, sigma: float) -> Floats:
    """Share of a unit Gaussian in each of the pixels first, ..., stop - 1."""
    from scipy.special import erf

    edges = (np.arange(first, stop + 1) - 0.5 - centre) / (sigma * np.sqrt(2.0))
    return np.asarray(np.diff(0.5 * erf(edges)))


def add_star(image: Floats, x: float, y: float, flux: float, sigma: float) -> None:
    """Add one round Gaussian star of total `flux`."""
    height, width = image.shape
    reach = int(np.ceil(6.0 * sigma)) + 2
    x0, x1 = max(0, round(x) - reach), min(width, round(x) + reach + 1)
    y0, y1 = max(0, round(y) - reach), min(height, round(y) + reach + 1)
    if x0 < x1 and y0 < y1:
        image[y0:y1, x0:x1] += flux * np.outer(pixel_integral(y0, y1, y, sigma), pixel_integral(x0, x1, x, sigma))


def add_streak(image: Floats, x: float, y: float, flux: float, sigma: float, length: float, angle_rad: float) -> None:
    """Add a star that moved evenly over `length` px, its middle at (x, y)."""
    steps = max(2, int(np.ceil(length / (0.4 * sigma))))
    for t in np.linspace(-0.5, 0.5, steps) * length:
        add_star(image, x + t * np.cos(angle_rad), y + t * np.sin(angle_rad), flux / steps, sigma)


def add_ring(image: Floats, x: float, y: float, flux: float, outer: float, inner: float) -> None:
    """Add a star far out of focus: the image of an obstructed aperture, `outer` and `inner` radius in px."""
    height, width = image.shape
    yy, xx = np.mgrid[0:height, 0:width]
    r = np.hypot(xx - x, yy - y)
    ring = np.clip(outer + 0.5 - r, 0.0, 1.0) * np.clip(r - inner + 0.5, 0.0, 1.0)
    image += flux * ring / ring.sum()


def flux_of(snr: Floats | float, fwhm_px: float, noise_adu: float) -> Floats:
    """Total flux of stars of that SNR."""
    sigma = np.hypot(fwhm_px / FWHM_PER_SIGMA, np.sqrt(1.0 / 12.0))
    return np.asarray(np.asarray(snr) * noise_adu * 2.0 * np.sqrt(np.pi) * sigma)


def places(rng: np.random.Generator, count: int, shape: tuple[int, int], apart_px: float) -> tuple[Floats, Floats]:
    """Random places at least `apart_px` from each other and half of that (at least 8 px) from the edges."""
    height, width = shape
    margin = max(8.0, 0.5 * apart_px)
    chosen: list[tuple[float, float]] = []
    for _ in range(200 * count):
        x, y = rng.uniform(margin, width - 1 - margin), rng.uniform(margin, height - 1 - margin)
        if all((x - a) ** 2 + (y - b) ** 2 > apart_px**2 for a, b in chosen):
            chosen.append((x, y))
            if len(chosen) == count:
                break
    xy = np.array(chosen).reshape(-1, 2)
    return xy[:, 0], xy[:, 1]


def star_field(
    seed: int,
    count: int = 60,
    *,
    fwhm_px: float = 3.0,
    snr: float | tuple[float, float] = (8.0, 300.0),
    shape: tuple[int, int] = (480, 640),
    sky_adu: float = 1000.0,
    noise_adu: float = 20.0,
    electrons_per_adu: float = 1.0,
    wander_px: float = 0.0,
    apart_px: float | None = None,
) -> Field:
    """Stars of one SNR, or log-uniform between two, on noisy sky; brightest first.

    `wander_px`: seeing wander, a random shift of each star (the recorded truth is without it). `electrons_per_adu`
    sets the photon noise of the stars (0: none).
    """
    rng = np.random.default_rng(seed)
    x, y = places(rng, count, shape, apart_px or max(14.0, 5.0 * fwhm_px))
    if isinstance(snr, tuple):
        strength = np.exp(rng.uniform(np.log(snr[0]), np.log(snr[1]), x.size))
    else:
        strength = np.full(x.size, snr)
    strength = np.sort(strength)[::-1]
    image = np.full(shape, sky_adu)
    for a, b, flux in zip(x, y, flux_of(strength, fwhm_px, noise_adu)):
        dx, dy = rng.normal(0.0, 1.0, 2) * wander_px
        add_star(image, a + dx, b + dy, float(flux), fwhm_px / FWHM_PER_SIGMA)
    photons = (image - sky_adu) / electrons_per_adu if electrons_per_adu else 0.0
    image += rng.normal(0.0, 1.0, shape) * np.sqrt(noise_adu**2 + photons)
    return Field(image, noise_adu, sky_adu, rng, x, y, strength)


def add_hot_pixels(field: Field, count: int, low_sigma: float = 8.0, high_sigma: float = 1000.0) -> Floats:
    """Scatter lone hot pixels, log-uniform in strength; returns their places (count, 2) as x, y."""
    height, width = field.image.shape
    xy = np.stack((field.rng.integers(0, width, count), field.rng.integers(0, height, count)), axis=1)
    strength = np.exp(field.rng.uniform(np.log(low_sigma), np.log(high_sigma), count)) * field.noise_adu
    np.add.at(field.image, (xy[:, 1], xy[:, 0]), strength)
    return xy.astype(np.float64)


def as_jpeg(field: Field, quality: int = 80) -> Field:
    """The frame as an 8-bit JPEG: sky near 12 of 255, compression blocks and all."""
    from PIL import Image

    eight = np.clip((field.image - field.sky_adu) / field.noise_adu * 3.0 + 12.0, 0, 255).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(eight).save(buffer, "JPEG", quality=quality)
    field.image = np.asarray(Image.open(buffer), dtype=np.float64)
    return field


@dataclass(frozen=True)
class Match:
    """Truth against detection: for each true star found, its index in the list and the error; and what is false."""

    truth: NDArray[np.int64]
    found: NDArray[np.int64]
    dx_px: Floats
    dy_px: Floats
    recall: float
    false: NDArray[np.int64]


def matched(field: Field, stars: StarList, within_px: float = 2.0) -> Match:
    """Pair true stars with the nearest detected one."""
    if len(stars) == 0 or field.x_px.size == 0:
        none = np.zeros(0, dtype=np.int64)
        return Match(none, none, np.zeros(0), np.zeros(0), 0.0, np.arange(len(stars)))
    gap = np.hypot(stars.x_px[:, None] - field.x_px, stars.y_px[:, None] - field.y_px)
    truth = np.flatnonzero(gap.min(axis=0) < within_px)
    found = gap.argmin(axis=0)[truth]
    return Match(
        truth,
        found,
        stars.x_px[found] - field.x_px[truth],
        stars.y_px[found] - field.y_px[truth],
        truth.size / field.x_px.size,
        np.flatnonzero(gap.min(axis=1) >= within_px),
    )
