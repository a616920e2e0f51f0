"""From matched stars to attitude and scale, for many candidates at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polewright.core.model import Camera, FloatArray

_ROUNDS = 3  # of turn and focal length in turn (chosen)
_STEADY = 3e-4  # change of the focal length that moves no star of a wide field by a pixel


@dataclass(frozen=True, eq=False)
class Poses:
    """M candidate placements: `camera_to_sky` (M, 3, 3), `focal_px` (M,), `mirrored` (M,), and `misfit_px` (M,), the
    rms distance of the matched stars from where the pose puts them; `middle_px` (M, 2) is the middle of those stars,
    `extent_px` (M,) the distance of the widest pair.
    """

    camera_to_sky: FloatArray
    focal_px: FloatArray
    mirrored: NDArray[np.bool_]
    misfit_px: FloatArray
    middle_px: FloatArray
    extent_px: FloatArray

    def take(self, which: NDArray[np.int64] | NDArray[np.bool_]) -> Poses:
        """Some of them."""
        return Poses(
            self.camera_to_sky[which],
            self.focal_px[which],
            self.mirrored[which],
            self.misfit_px[which],
            self.middle_px[which],
            self.extent_px[which],
        )

    def __len__(self) -> int:
        return int(self.focal_px.size)


def centred_pixels(camera: Camera, x_px: FloatArray, y_px: FloatArray) -> FloatArray:
    """(N, 2) pixels from the image centre, freed of the camera's distortion, not un-mirrored."""
    x = x_px - (camera.width_px - 1) / 2.0
    y = y_px - (camera.height_px - 1) / 2.0
    r2 = (x * x + y * y) / camera.focal_px**2
    factor = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    out = np.empty((*x.shape, 2))
    np.multiply(x, factor, out=out[..., 0])
    np.multiply(y, factor, out=out[..., 1])
    return out


def directions(pixels: FloatArray, focal_px: FloatArray | float) -> FloatArray:
    """Unit vectors (..., 3) of centred pixels (..., 2); `focal_px` broadcasts against (...)."""
    out = np.empty((*pixels.shape[:-1], 3))
    x, y, z = out[..., 0], out[..., 1], out[..., 2]
    np.divide(pixels[..., 0], focal_px, out=x)
    np.divide(pixels[..., 1], focal_px, out=y)
    z[...] = 1.0 / np.sqrt(1.0 + x * x + y * y)
    x *= z
    y *= z
    return out


def poses_of(pixels: FloatArray, sky: FloatArray, focal_px: float) -> Poses:
    """Best similarity for each of M matched groups: centred pixels (M, K, 2), unit vectors `sky` (M, K, 3), K >= 3.

    The first two of a group are its widest pair. The focal length comes from the stars; `focal_px` serves where they
    leave it open.
    """
    count = len(pixels)
    along = pixels[:, 1] - pixels[:, 0]
    extent = np.hypot(along[:, 0], along[:, 1])
    sky_basis, sky_plane = _plane(sky)
    aside = sky_plane.imag  # distance from the line AB, but for a constant
    mirrored = (_pixel_side(pixels) * np.sign(aside[:, 2:] - aside[:, :1])).sum(axis=1) < 0.0
    seen = pixels.copy()
    seen[mirrored, :, 0] *= -1.0
    flat = seen[..., 0] + 1j * seen[..., 1]
    flat -= flat.sum(axis=1, keepdims=True) / flat.shape[1]
    likeness = np.abs((np.conj(flat) * sky_plane).sum(axis=1))
    focal = np.where(likeness > 0.0, (flat * np.conj(flat)).real.sum(axis=1) / np.maximum(likeness, 1e-12), focal_px)
    for _ in range(_ROUNDS):
        camera_basis, camera_plane = _plane(directions(seen, focal[:, None]))
        across = np.conj(camera_plane)
        turn = (across * sky_plane).sum(axis=1) / (across * camera_plane).sum(axis=1).real
        size = np.maximum(np.abs(turn), 1e-3)
        last, focal = focal, focal / size
        if count == 0 or float(np.abs(size - 1.0).max()) < _STEADY:
            break
    misfit = sky_plane - turn[:, None] * camera_plane
    misfit_px = np.sqrt((misfit * np.conj(misfit)).real.sum(axis=1) / misfit.shape[1]) * last
    phase = turn / size
    spin = np.zeros((count, 3, 3))
    spin[:, 0, 0] = spin[:, 1, 1] = phase.real
    spin[:, 1, 0] = phase.imag
    spin[:, 0, 1] = -phase.imag
    spin[:, 2, 2] = 1.0
    camera_to_sky = sky_basis @ spin @ np.swapaxes(camera_basis, 1, 2)
    return Poses(camera_to_sky, focal, mirrored, misfit_px, pixels.sum(axis=1) / pixels.shape[1], extent)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """a x b of vectors (M, 3); numpy's own costs more in set-up than in arithmetic at this size."""
    out = np.empty_like(a)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def _pixel_side(p: FloatArray) -> FloatArray:
    """(M, K - 2) twice the areas of the triangles A B C of pixels (M, K, 2), positive with C to the right of AB."""
    a, ab = p[:, :1], p[:, 1:2] - p[:, :1]
    ac = p[:, 2:] - a
    return np.asarray(ab[..., 0] * ac[..., 1] - ab[..., 1] * ac[..., 0])


def _plane(v: FloatArray) -> tuple[FloatArray, NDArray[np.complex128]]:
    """Basis (M, 3, 3), columns e1 along AB, e2, mean direction; and the stars (M, K) as e1 + i e2 about the mean."""
    middle = v.sum(axis=1)
    middle /= np.sqrt(np.einsum("mi,mi->m", middle, middle))[:, None]
    along = v[:, 1] - v[:, 0]
    along -= np.einsum("mi,mi->m", along, middle)[:, None] * middle
    along /= np.maximum(np.sqrt(np.einsum("mi,mi->m", along, along)), 1e-15)[:, None]
    basis = np.empty((len(v), 3, 3))
    basis[:, :, 0], basis[:, :, 1], basis[:, :, 2] = along, _cross(middle, along), middle
    places = v @ basis[:, :, :2]  # their sum is 0, for e1 and e2 are at right angles to the mean
    return basis, places[..., 0] + 1j * places[..., 1]
