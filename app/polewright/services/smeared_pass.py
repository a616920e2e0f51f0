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
_REACH = 48  # pixels of the halved frame: trails up to 96 px at once,
_FAR_REACH = 200  # and these are looked up only where one leaves that: trails up to 400 px
_FINE_DEG = np.arange(-3.0, 3.01, 0.15)  # about the coarse angle: half a pixel at the far reach
_PARTS, _FEWEST_PARTS = 3, 3  # along each side, and of the nine (chosen)
_ANGLES = 90  # over half a turn: 2 degrees each, refined between
_LEAST_LENGTH = 3.0  # pixels of the halved frame
_SURELY_LONG = 12.0  # pixels of the halved frame: no shape of stars that stood still (chosen)
_LEAST_PX = 9.0  # a shorter path shows in the shapes of the stars
_LENGTHWISE = 0.12  # of the autocorrelation near its middle
_THRESHOLD = 5.0  # sigmas of the filtered map (chosen)
_APART, _ALONG = 8.0, 0.4  # of two places: pixels of the halved frame; and of a path, two fifths in those (chosen)
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
    about = np.roll(whole, (_REACH, _REACH), axis=(0, 1))[: 2 * _REACH + 1, : 2 * _REACH + 1]
    angles = np.arange(_ANGLES) * np.pi / _ANGLES
    level_far = float(np.median(about))
    rays = _rays(about, angles, _REACH) - level_far
    noise = MAD_TO_SIGMA * float(np.median(np.abs(about - level_far)))
    best = int(rays[:, 2:20].sum(axis=1).argmax())
    ray, across = ndimage.uniform_filter1d(rays[best], 3), rays[(best + _ANGLES // 2) % _ANGLES]
    if float(across[3]) > 0.6 * float(ray[3]) or float(ray[3]) < 8.0 * noise:
        return None
    limit = max(4.0 * noise, _LENGTHWISE * float(ray[2]))
    below = np.flatnonzero(ray[2:] < limit)
    angle, length = _refined(rays, best), float(below[0] + 2) / (1.0 - _LENGTHWISE) if below.size else 0.0
    drowns = limit > _LENGTHWISE * float(ray[2]) and length > _SURELY_LONG
    if not below.size or drowns:  # it goes on, or its end is lost in the noise
        angle, length = _farther(whole - level_far, angle)
    drawn = 2.0 * (length - width_px)
    if length < _LEAST_LENGTH or drawn < _LEAST_PX:
        return None
    height, width = flat.shape
    return Path(angle, drawn, width_px, width - 0.5, height - 0.5)


def _rays(whole: FloatArray, angles: FloatArray, reach: int) -> FloatArray:
    """What lies along rays (A, reach) from the middle of a square of 2 * reach + 1 pixels."""
    from scipy import ndimage

    radius = np.arange(0.0, reach)
    at = np.stack([reach + np.sin(angles)[:, None] * radius, reach + np.cos(angles)[:, None] * radius])
    return np.asarray(ndimage.map_coordinates(whole, at, order=1))


def _farther(whole: FloatArray, angle: float) -> tuple[float, float]:
    """Angle and length of a path by the autocorrelation far out: that of even light falls as a triangle does. Its ray
    is as wide as a star, so the angle is finer there."""
    reach = min(_FAR_REACH, min(whole.shape) // 2 - 1)
    square = np.roll(whole, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]
    angles = angle + np.radians(_FINE_DEG)
    rays = _rays(square, angles, reach)[:, 2:]
    lengths = np.arange(4.0, reach)
    triangles = np.maximum(0.0, 1.0 - np.arange(2.0, reach) / lengths[:, None])
    fits = rays @ (triangles / np.sqrt(np.square(triangles).sum(axis=1))[:, None]).T  # (angle, length)
    best, longest = np.unravel_index(int(fits.argmax()), fits.shape)
    return float(angles[best] % np.pi), float(lengths[longest])


def _refined(rays: FloatArray, best: int) -> float:
    around = [float(rays[(best + k) % _ANGLES, 2:20].sum()) for k in (-2, 0, 2)]
    bend = around[0] - 2.0 * around[1] + around[2]
    part = 0.5 * (around[0] - around[2]) / bend if bend < 0.0 else 0.0
    return float((best + 2.0 * np.clip(part, -1.0, 1.0)) * np.pi / _ANGLES)


def parts_agree(flat: Image, width_px: float) -> bool:
    """Do three parts and more of a levelled, halved frame each show a path? Arcs about the pole differ in direction
    from one part to the next."""
    height, width = (side // _PARTS for side in flat.shape)
    corners = [(j * height, i * width) for j in range(_PARTS) for i in range(_PARTS)]
    paths = (shared_path(flat[y : y + height, x : x + width], width_px) for y, x in corners)
    return sum(path is not None for path in paths) >= _FEWEST_PARTS


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
    apart = max(2.0, min(0.3 * path.length_px / 2.0, _APART))
    dx, dy = x[:, None] - x, y[:, None] - y
    near = np.maximum(np.abs(dx), np.abs(dy)) < apart
    if apart == _APART:  # noise makes several peaks of one long trail
        c, s = np.cos(path.angle_rad), np.sin(path.angle_rad)
        near |= (np.abs(dx * c + dy * s) < _ALONG * path.length_px) & (np.abs(dy * c - dx * s) < apart)
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
    size = np.sqrt(np.square(kernel).sum())
    return kernel / np.float32(size) if size > 0.0 else kernel  # no light: nothing looks like it
