"""The pass over a frame on which a moving mount has drawn all stars out alike.

What all stars share shows in the autocorrelation of the frame long before a single trail does; a filter of that shape
then finds them. scipy transforms and looks for maxima; shape and places are measured in core/detection/smear.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polewright.core.detection.smear import Path
from polewright.core.detection.windows import MAD_TO_SIGMA, middle
from polewright.core.model import FloatArray
from polewright.services.quick_pass import Halved, levelled

Image = NDArray[np.float32]
_BRIGHTEST = 6.0  # times the noise: no star may speak for all
_REACH = 48  # pixels of the halved frame: trails up to 96 px
_ANGLES = 90  # over half a turn: 2 degrees each, refined between
_LEAST_LENGTH = 3.0  # pixels of the halved frame
_LEAST_PX = 9.0  # a shorter path shows in the shapes of the stars
_LENGTHWISE = 0.12  # of the autocorrelation near its middle
_THRESHOLD = 5.0  # sigmas of the filtered map (chosen)
_MOST = 100  # places; the solver is content with 40
_MOST_PEAKS = 600  # compared all with all (bound of time)


def level(small: Halved) -> Image:
    """The halved frame without sky, in units of its noise."""
    flat = levelled(small)
    noise = MAD_TO_SIGMA * middle(np.abs(flat[::3, ::3]).ravel())
    return np.asarray(flat / np.float32(max(noise, 1e-3)), dtype=np.float32)


def shared_path(flat: Image, width_px: float) -> Path | None:
    """The path that the stars of a levelled, halved frame share, in pixels of the whole frame; None without one."""
    from scipy import fft, ndimage

    clipped = np.clip(flat, -3.0, _BRIGHTEST)
    clipped -= clipped.mean()
    power = np.abs(fft.rfft2(clipped)) ** 2
    whole = fft.irfft2(power, s=flat.shape)
    whole[0] -= np.median(whole[0])  # noise that the pixels of a row share
    whole = np.roll(whole, (_REACH, _REACH), axis=(0, 1))[: 2 * _REACH + 1, : 2 * _REACH + 1]
    angles = np.arange(_ANGLES) * np.pi / _ANGLES
    radius = np.arange(0.0, _REACH)
    at = np.stack([_REACH + np.sin(angles)[:, None] * radius, _REACH + np.cos(angles)[:, None] * radius])
    rays = ndimage.map_coordinates(whole, at, order=1)
    level_far = float(np.median(whole))
    rays = rays - level_far
    noise = MAD_TO_SIGMA * float(np.median(np.abs(whole - level_far)))
    best = int(rays[:, 2:20].sum(axis=1).argmax())
    ray = ndimage.uniform_filter1d(rays[best], 3)
    across = rays[(best + _ANGLES // 2) % _ANGLES]
    limit = max(4.0 * noise, _LENGTHWISE * float(ray[2]))
    below = np.flatnonzero(ray[2:] < limit)
    length = float(below[0] + 2) if below.size else 0.0
    if length < _LEAST_LENGTH or float(across[3]) > 0.6 * float(ray[3]) or float(ray[3]) < 8.0 * noise:
        return None
    height, width = flat.shape
    drawn = 2.0 * length / (1.0 - _LENGTHWISE) - 2.0 * width_px
    if drawn < _LEAST_PX:
        return None
    return Path(_refined(rays, best), drawn, width_px, width - 0.5, height - 0.5)


def _refined(rays: FloatArray, best: int) -> float:
    around = [float(rays[(best + k) % _ANGLES, 2:20].sum()) for k in (-2, 0, 2)]
    bend = around[0] - 2.0 * around[1] + around[2]
    part = 0.5 * (around[0] - around[2]) / bend if bend < 0.0 else 0.0
    return float((best + 2.0 * np.clip(part, -1.0, 1.0)) * np.pi / _ANGLES)


def even_light(path: Path) -> tuple[FloatArray, FloatArray]:
    """Places along a path about its middle, and the light of an even motion there."""
    count = max(3, int(2.0 * path.length_px))
    return ((np.arange(count) + 0.5) / count - 0.5) * path.length_px, np.ones(count)


def drawn_candidates(flat: Image, path: Path, u_px: FloatArray, light: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places (x, y) of what a filter of the path's shape finds, brightest first, in pixels of the whole frame.

    `light` (U,): along the path, at `u_px` from the place that is looked for.
    """
    from scipy import fft

    kernel = _kernel(flat.shape, path, u_px, light)
    spectrum = fft.rfft2(np.clip(flat, -5.0, 60.0)) * np.conj(fft.rfft2(kernel))
    found = np.asarray(fft.irfft2(spectrum, s=flat.shape), dtype=np.float32)
    found /= np.float32(max(MAD_TO_SIGMA * middle(np.abs(found[::3, ::3]).ravel()), 1e-6))
    x, y = _peaks(found)
    apart = max(2.0, min(0.3 * path.length_px / 2.0, 8.0))
    near = np.maximum(np.abs(x[:, None] - x), np.abs(y[:, None] - y)) < apart
    first = np.flatnonzero(~np.tril(near, -1).any(axis=1))[:_MOST]
    return 2.0 * x[first] + 0.5, 2.0 * y[first] + 0.5


def _peaks(found: Image) -> tuple[FloatArray, FloatArray]:
    """Columns and rows higher than their four neighbours and the threshold, highest first."""
    inner = found[1:-1, 1:-1]
    high = inner > _THRESHOLD
    for other in (found[:-2, 1:-1], found[2:, 1:-1], found[1:-1, :-2], found[1:-1, 2:]):
        high &= inner >= other
    row, column = np.nonzero(high)
    order = np.argsort(-inner[row, column], kind="stable")[:_MOST_PEAKS]
    return np.asarray(column[order] + 1.0), np.asarray(row[order] + 1.0)


def _kernel(frame: tuple[int, ...], path: Path, along: FloatArray, light: FloatArray) -> Image:
    """The path as light on an empty halved frame, its place at the first pixel (and round the edges)."""
    kernel = np.zeros(frame, dtype=np.float32)
    width = max(0.5 * path.width_px, 0.6)
    cx, cy = np.cos(path.angle_rad), np.sin(path.angle_rad)
    reach = int(np.ceil(3.0 * width)) + 1
    step = np.arange(-reach, reach + 1)
    x, y = 0.5 * along * cx, 0.5 * along * cy
    column, row = np.rint(x).astype(np.int64), np.rint(y).astype(np.int64)
    gx = np.exp(-0.5 * ((column[:, None] + step - x[:, None]) / width) ** 2)
    gy = np.exp(-0.5 * ((row[:, None] + step - y[:, None]) / width) ** 2)
    spots = light[:, None, None] * gy[:, :, None] * gx[:, None, :]
    rows, columns = (row[:, None] + step) % frame[0], (column[:, None] + step) % frame[1]
    np.add.at(kernel, (rows[:, :, None], columns[:, None, :]), spots.astype(np.float32))
    return kernel / np.float32(np.sqrt(np.square(kernel).sum()))
