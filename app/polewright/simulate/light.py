"""Stars as light on pixels: the blurred, trailed or defocused image of every star, integrated over each pixel.

A star is a sum of round Gaussians (core, halo, aureole), which stands for the Moffat profile that seeing gives, and
each is integrated over the pixel exactly with the error function. Trails and defocus set many such images side by
side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import FloatArray

_PARTS = ((0.82, 1.0), (0.15, 2.0), (0.03, 4.5))  # share of the light, width in core sigmas
_CORE_FWHM = 2.41  # full width at half maximum of that sum, in core sigmas
_CHUNK = 4096  # stars drawn at once, to bound the memory of one step


@dataclass(frozen=True)
class Blur:
    """`fwhm_px` of the round image; `defocus_px` the outer radius of the disc (with a hole) of an unfocused one."""

    fwhm_px: float
    defocus_px: float = 0.0
    halo: float = 1.0  # more than 1: dew or thin cloud spreads light


def add_stars(
    image: NDArray[np.float32],
    x_px: FloatArray,
    y_px: FloatArray,
    electrons: FloatArray,
    blur: Blur,
    faintest_e: float,
) -> None:
    """Add stars to `image` (height, width): positions (S, N) at S moments, light (N,) spread evenly over them.

    Light below `faintest_e` electrons per pixel is left out.
    """
    x, y, light = _spread(np.atleast_2d(x_px), np.atleast_2d(y_px), electrons, blur)
    parts = [(share if k == 0 else share * blur.halo, width) for k, (share, width) in enumerate(_PARTS)]
    total = sum(share for share, _ in parts)
    for share, width in parts:
        sigma = blur.fwhm_px / _CORE_FWHM * width
        amount = light * (share / total)
        peak = amount / (2.0 * np.pi * max(sigma, 0.3) ** 2)
        reach = sigma * np.sqrt(2.0 * np.log(np.maximum(peak / faintest_e, 1.0)))
        half = np.where(peak > faintest_e, np.ceil(reach + 0.5), -1).astype(int)
        _add_by_size(image, x, y, amount, sigma, half)


def _spread(
    x: FloatArray, y: FloatArray, electrons: FloatArray, blur: Blur
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Every sub-image of every star as flat arrays."""
    dx, dy = _disc(blur.defocus_px, blur.fwhm_px)
    light = np.broadcast_to(electrons / (x.shape[0] * dx.size), x.shape)
    x3, y3 = x[..., None] + dx, y[..., None] + dy
    light3 = np.broadcast_to(light[..., None], x3.shape)
    good = np.isfinite(x3) & np.isfinite(y3)
    return x3[good], y3[good], light3[good]


def _disc(radius_px: float, fwhm_px: float) -> tuple[FloatArray, FloatArray]:
    """Points that fill a disc with a central hole of 0.35 radii, closer together than the blur."""
    if radius_px <= 0.0:
        return np.zeros(1), np.zeros(1)
    rings = max(2, int(np.ceil(1.3 * radius_px / fwhm_px)) + 1)
    radii = radius_px * np.linspace(0.35, 1.0, rings)
    points = [
        r * np.exp(2j * np.pi * np.arange(n) / n)
        for r, n in ((r, max(6, int(np.ceil(2.0 * np.pi * r / (0.7 * fwhm_px))))) for r in radii)
    ]
    flat = np.concatenate(points)
    return flat.real, flat.imag


def _add_by_size(
    image: NDArray[np.float32], x: FloatArray, y: FloatArray, amount: FloatArray, sigma: float, half: NDArray[np.int_]
) -> None:
    """Stamps of like size together, so that few are larger than they need be."""
    lower = 0
    for upper in (2, 3, 4, 6, 8, 12, 18, 27, 40, 80):
        chosen = np.flatnonzero((half > lower) & (half <= upper)) if upper < 80 else np.flatnonzero(half > lower)
        for start in range(0, chosen.size, max(1, _CHUNK * 100 // (2 * upper + 1) ** 2)):
            part = chosen[start : start + max(1, _CHUNK * 100 // (2 * upper + 1) ** 2)]
            _add_stamps(image, x[part], y[part], amount[part], sigma, upper)
        lower = upper


def _add_stamps(
    image: NDArray[np.float32], x: FloatArray, y: FloatArray, amount: FloatArray, sigma: float, half: int
) -> None:
    height, width = image.shape
    near = (x > -half - 1) & (x < width + half) & (y > -half - 1) & (y < height + half)
    x, y, amount = x[near], y[near], amount[near]
    offsets = np.arange(-half, half + 1)
    columns, along_x = _line(x, offsets, sigma)
    rows, along_y = _line(y, offsets, sigma)
    along_x[(columns < 0) | (columns >= width)] = 0.0
    along_y[(rows < 0) | (rows >= height)] = 0.0
    stamps = (along_y * amount[:, None])[:, :, None] * along_x[:, None, :]
    flat = np.clip(rows, 0, height - 1)[:, :, None] * width + np.clip(columns, 0, width - 1)[:, None, :]
    np.add.at(image.reshape(-1), flat.reshape(-1), stamps.reshape(-1).astype(np.float32))


def _line(centre: FloatArray, offsets: NDArray[np.int_], sigma: float) -> tuple[NDArray[np.int_], FloatArray]:
    """Pixel numbers (N, K) around each centre and the share of a Gaussian that falls within each."""
    first = np.rint(centre).astype(int)
    pixels = first[:, None] + offsets
    edges = (np.concatenate([offsets - 0.5, offsets[-1:] + 0.5])[None, :] + (first - centre)[:, None]) / (
        sigma * np.sqrt(2.0)
    )
    from scipy.special import erf  # half a second to load: not before the first frame is rendered

    return pixels, np.asarray(0.5 * np.diff(erf(edges), axis=1))
